"""``manage.py budget BUDGET.json``: the uncertainty statement of a budget as JSON, for engineers and scripts."""

from __future__ import annotations

import json
import sys
from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand, CommandParser

from equipment.metrology.budget import evaluate_budget, read_budget
from equipment.metrology.inputs import BudgetError
from equipment.metrology.monte_carlo import propagate

BAD_INPUT = 2


class Command(BaseCommand):
    """Read a budget, print its statement; needs and touches no database."""

    help = "Print the uncertainty statement of a budget (JSON) as JSON. Exit 0: done; 2: bad input."
    requires_system_checks: list[str] = []
    requires_migrations_checks = False

    def add_arguments(self, parser: CommandParser) -> None:
        """Ask for the file."""
        parser.add_argument("budget", metavar="BUDGET.json", help="the budget; - reads standard input")

    def handle(self, *args: Any, **options: Any) -> None:
        """Print the statement, or one line on stderr that names file, place and mend."""
        name = options["budget"]
        try:
            answer = statement_of(_load(name))
        except BudgetError as error:
            self.stderr.write(" ".join(f"{name}: {error}.".split()))
            sys.exit(BAD_INPUT)
        self.stdout.write(json.dumps(answer, ensure_ascii=False, indent=2, allow_nan=False))


def _load(name: str) -> Any:
    try:
        raw = sys.stdin.buffer.read() if name == "-" else Path(name).read_bytes()
        return json.loads(raw.decode("utf-8-sig"), parse_constant=_refuse_constant)
    except OSError as error:
        raise BudgetError(f"cannot be read ({error.strerror})", place="the file", mend="give a readable file") from None
    except UnicodeDecodeError as error:
        raise BudgetError("is not UTF-8 text", place=f"byte {error.start}", mend="save it as UTF-8") from None
    except json.JSONDecodeError as error:
        place = f"line {error.lineno}, column {error.colno}"
        raise BudgetError(f"is not JSON ({error.msg})", place=place, mend="mend the text there") from None
    except BudgetError:  # itself a ValueError, so it has to pass before the next clause
        raise
    except ValueError:
        raise BudgetError("holds a number with too many digits", place="the file", mend="shorten it") from None
    except RecursionError:
        raise BudgetError("is nested too deep", place="the file", mend="write a flat budget") from None


def _refuse_constant(constant: str) -> None:
    raise BudgetError(f"{constant} is not a JSON number", place="the file", mend="write a finite number")


def statement_of(table: Any) -> dict[str, Any]:
    """Return the answer for a budget as read from JSON, with the Monte Carlo cross-check where it is asked for."""
    budget = read_budget(table)
    answer = evaluate_budget(budget).as_dict()
    asked = table.get("monte_carlo")
    if asked:
        trials, seed = _trials_and_seed(asked)
        checks = propagate(budget, trials=trials, seed=seed)
        for name, check in checks.items():
            (answer if budget.single else answer["models"][name])["monte_carlo"] = check.as_dict()
    return answer


def _trials_and_seed(asked: Any) -> tuple[int, int]:
    table = {} if asked is True else asked
    mend = 'write true or {"trials": 200000, "seed": 1}, trials from 1000 to 5000000'
    if not isinstance(table, dict) or set(table) - {"trials", "seed"}:
        raise BudgetError("is not understood", place="monte_carlo", mend=mend)
    trials, seed = table.get("trials", 200_000), table.get("seed", 1)
    if not all(isinstance(number, int) and not isinstance(number, bool) for number in (trials, seed)):
        raise BudgetError("needs whole numbers", place="monte_carlo", mend=mend)
    if not 1000 <= trials <= 5_000_000 or seed < 0:
        raise BudgetError("is out of range", place="monte_carlo", mend=mend)
    return trials, seed
