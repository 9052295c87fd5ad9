"""``manage.py derive RATINGS.json``: the plan of a unit as JSON, for engineers and scripts."""

from __future__ import annotations

import json
import sys
from pathlib import Path
from typing import Any, NoReturn

from django.core.management.base import BaseCommand, CommandParser

from schedules.rules import BadRatings, PackError, RulePack, derive_plan, load_packs, read_pack

BAD_INPUT = 2
LARGEST_BYTES = 1_000_000


class Command(BaseCommand):
    """Read ratings, print their plan; needs and touches no database."""

    help = "Print the plan for ratings (JSON) as JSON. Exit 0: done; 2: bad input."
    requires_system_checks: list[str] = []
    requires_migrations_checks = False

    def add_arguments(self, parser: CommandParser) -> None:
        """Ask for the file."""
        parser.add_argument("ratings", metavar="RATINGS.json", help="what is on the nameplate; - reads standard input")
        parser.add_argument(
            "--pack",
            metavar="PACK.toml",
            action="append",
            default=[],
            help="a rule pack of your own, beside the shipped",
        )

    def handle(self, *args: Any, **options: Any) -> None:
        """Print the plan, or one line on stderr that names file, place and mend."""
        name = options["ratings"]
        try:
            own = tuple(_own_pack(Path(place)) for place in options["pack"])
            plan = derive_plan(read_json(name), packs=(*load_packs(), *own)).as_dict()
        except BadRatings as refused:
            self._refuse(f"{name}: {refused}")
        except PackError as refused:
            self._refuse(str(refused))
        can_write_all = (getattr(self.stdout, "encoding", None) or "utf-8").lower().startswith("utf")
        self.stdout.write(json.dumps(plan, ensure_ascii=not can_write_all, indent=2, allow_nan=False))

    def _refuse(self, message: str) -> NoReturn:
        message += "" if message.endswith("?") else "."
        encoding = getattr(self.stderr, "encoding", None) or "utf-8"
        self.stderr.write(" ".join(message.split()).encode(encoding, "backslashreplace").decode(encoding))
        sys.exit(BAD_INPUT)


def _own_pack(path: Path) -> RulePack:
    """Return a pack from a file; refuse in words what cannot be read or used."""
    try:
        return read_pack(path.read_bytes(), path.name)
    except (OSError, ValueError) as fault:
        if isinstance(fault, PackError):
            raise
        raise PackError(str(path), "file", "cannot be read", "give a readable rule pack") from None


def read_json(name: str) -> Any:
    """Return what the file (or, for ``-``, standard input) holds; refuse in words what is not one plain JSON text."""
    try:
        raw = _bytes(name)
        return json.loads(
            raw.decode("utf-8-sig"), parse_constant=_refuse_constant, object_pairs_hook=_refuse_repeated_keys
        )
    except OSError as fault:
        raise BadRatings("the file", f"cannot be read ({fault.strerror})", "give a readable file") from None
    except UnicodeDecodeError as fault:
        raise BadRatings(f"byte {fault.start}", "is not UTF-8 text", "save it as UTF-8") from None
    except json.JSONDecodeError as fault:
        place = f"line {fault.lineno}, column {fault.colno}"
        raise BadRatings(place, f"is not JSON ({fault.msg})", "mend the text there") from None
    except BadRatings:  # itself a ValueError, so it has to pass before the next clause
        raise
    except ValueError:
        raise BadRatings("the file", "holds a number with too many digits", "shorten it") from None
    except RecursionError:
        raise BadRatings("the file", "is nested too deep", "write a flat object") from None


def _bytes(name: str) -> bytes:
    if name == "-":
        raw = sys.stdin.buffer.read(LARGEST_BYTES + 1)
    elif "\0" in name:
        raise BadRatings("the file", "has no name that can be", "give a readable file")
    else:
        with Path(name).open("rb") as file:
            raw = file.read(LARGEST_BYTES + 1)
    if len(raw) > LARGEST_BYTES:
        raise BadRatings("the file", f"is larger than {LARGEST_BYTES} bytes", "ratings are one small object")
    return raw


def _refuse_constant(constant: str) -> None:
    raise BadRatings("the file", f"{constant} is not a JSON number", "write a finite number")


def _refuse_repeated_keys(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    table = dict(pairs)
    if len(table) < len(pairs):
        names = [name for name, _ in pairs]
        repeated = next(name for name in names if names.count(name) > 1)
        raise BadRatings(repeated[:60], "stands twice", "keep one of the two")
    return table
