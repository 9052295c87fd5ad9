"""Feed mutated files to one reader, guided by coverage: python -m tests.fuzz.readers FORMAT SECONDS FOLDER.

FORMAT is the name of a seed in tests/recordfiles.py, or `sheet` for the XML inside a workbook.

Needs atheris, which the project does not depend on. Anything but a recording or a refusal in words is a finding, and so
are arrays that are not finite, and a file that takes longer than five seconds.
"""

from __future__ import annotations

import contextlib
import os
import sys
import tempfile
from pathlib import Path

import atheris

with atheris.instrument_imports(include=["records.readers"]):
    from records.readers.reading import read_record
    from records.readers.recording import Limits
    from records.readers.refusals import RecordRefused
    from records.readers.wanted import WANTED_BY_KIND
    from tests.fuzz.imported import load_all

    load_all()

import numpy as np

from tests.recordfiles import seeds, sheet_xml, workbook_bytes

ROOM = Path(tempfile.mkdtemp(dir="/dev/shm" if os.path.isdir("/dev/shm") else None))
LIMITS = Limits(max_bytes=1 << 20, max_rows=20_000, max_unpacked_bytes=8 << 20)
NAME = sys.argv[1]
KINDS = ("power_frequency_withstand", "frequency_response", "winding_resistance")


def one(content: bytes) -> None:
    """Read one file for three kinds of step."""
    path = ROOM / "record"
    path.write_bytes(workbook_bytes(content) if NAME == "sheet" else content)
    for kind in KINDS:
        with contextlib.suppress(RecordRefused):
            recording = read_record(path, wanted=WANTED_BY_KIND[kind], limits=LIMITS)
            for values in (recording.time_s, *recording.channels.values()):
                if not np.isfinite(values).all():
                    raise AssertionError(f"not finite, read for {kind}")


def main() -> None:
    """Write the seeds, then search."""
    name, seconds, folder = NAME, sys.argv[2], Path(sys.argv[3])
    corpus = folder / name
    corpus.mkdir(parents=True, exist_ok=True)
    for seed, content in seeds(ROOM).items():
        if seed.startswith(name):
            (corpus / f"seed-{seed}").write_bytes(content)
    if name == "sheet":
        (corpus / "seed-sheet").write_text(
            sheet_xml([["Time (s)", "U (kV)"], [0, 1.5], [1, 2.5], [2, 0.5]], ("A1:A1",))
        )
    options = [f"-max_total_time={seconds}", "-max_len=16384", "-timeout=5", "-rss_limit_mb=3000", "-len_control=0"]
    atheris.Setup([sys.argv[0], *options, f"-artifact_prefix={folder}/{name}-", str(corpus)], one)
    atheris.Fuzz()


if __name__ == "__main__":
    main()
