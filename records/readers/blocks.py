"""A long table of text read in blocks of whole rows: hashed on the way, and never held in memory as a whole."""

from __future__ import annotations

import hashlib
from collections import deque
from collections.abc import Callable, Iterable, Iterator
from concurrent.futures import Future, ThreadPoolExecutor
from dataclasses import dataclass, field
from pathlib import Path
from typing import IO

import numpy as np
import polars as pl

from records.readers.memory import Memory, Table
from records.readers.order import Order
from records.readers.recording import Samples
from records.readers.source import Measure

_BLOCK_BYTES = 4 * 1024 * 1024
_TAIL_BYTES = 4096
_LINE_FEED = 0x0A
_THREADS = 2

Parse = Callable[[bytes], pl.DataFrame]
Scale = Callable[[int, Samples], Samples]


@dataclass(frozen=True)
class Block:
    """Whole rows of a file: their bytes, how many they are, and the line of the first of them counted from 1."""

    content: bytes
    rows: int
    first_line: int


@dataclass
class Pass:
    """One pass over a file: its limits, digest and length so far, and the block that could not be read, if any."""

    order: Order
    digest: hashlib._Hash = field(default_factory=hashlib.sha256)
    lines: int = 0
    tail: bytes = b""
    faulty: Block | None = None

    def measure(self) -> Measure:
        """Return what the pass told."""
        return Measure(self.digest.hexdigest(), self.lines, self.tail)


def blocks_of(path: Path, skipped_lines: int, seen: Pass) -> Iterator[Block]:
    """Yield the rows after the first lines in blocks; each block is hashed in a thread while it is being used.

    Parameters
    ----------
    path : Path
        File with line feeds.
    skipped_lines : int
        Lines before the first row.
    seen : Pass
        Digest, number of line feeds and last bytes, complete when the iteration has ended.

    Yields
    ------
    Block
        In order; together they are the rows, byte for byte. Only the last may end without a line feed.
    """
    start, line = 0, skipped_lines + 1
    with path.open("rb") as stream, ThreadPoolExecutor(max_workers=1) as threads:
        for _ in range(skipped_lines):
            head = stream.readline()
            seen.digest.update(head)
            seen.lines += head.count(b"\n")
            seen.tail = head[-_TAIL_BYTES:] or seen.tail
            start += len(head)
        hashing: Future[None] | None = None
        while content := _rows_from(stream, start):
            if hashing is not None:
                hashing.result()
            hashing = threads.submit(seen.digest.update, content)
            seen.tail = (seen.tail + content[-_TAIL_BYTES:])[-_TAIL_BYTES:]
            feeds = _line_feeds(content)
            seen.lines += feeds
            rows = feeds if content.endswith(b"\n") else feeds + 1
            yield Block(content, rows, line)
            line += rows
            start += len(content)
        if hashing is not None:
            hashing.result()


def _rows_from(stream: IO[bytes], start: int) -> bytes:
    """Return whole rows from one byte of a file on, a block or as much longer as its last row is; empty at the end.

    Where the last row ends is looked for first, so that what is read need not be cut, which would copy it.
    """
    least = _BLOCK_BYTES - 1
    stream.seek(start + least)
    length = least + len(stream.readline())
    stream.seek(start)
    return stream.read(length)


def _line_feeds(content: bytes) -> int:
    """Return the number of line feeds; counted as numbers, several times as fast as by searching for short rows."""
    return int(np.count_nonzero(np.frombuffer(content, dtype=np.uint8) == _LINE_FEED))


def columns_of(
    path: Path, skipped_lines: int, width: int, parse: Parse, scale: Scale, seen: Pass
) -> list[Samples] | None:
    """Return the columns of a file of numbers, or None where a block could not be read (`Pass.faulty`).

    Parameters
    ----------
    path : Path
        File with line feeds.
    skipped_lines : int
        Lines before the first row.
    width : int
        Number of columns in the frames.
    parse : callable
        Bytes of a block to a frame of doubles without gaps.
    scale : callable
        Place of a column and finite numbers as they stand in the file, to what is kept of them.
    seen : Pass
        What the pass tells; only complete where columns are returned.

    Returns
    -------
    list of ndarray (n,) or None
        One array for each column of the frames.

    Notes
    -----
    Blocks are parsed by two threads, each into its own part of the arrays; of several faulty ones the first is told.
    """
    room = _Room(seen.order.memory, np.empty((width, 0)), path.stat().st_size)
    filled = _filled(room, blocks_of(path, skipped_lines, seen), parse, scale, seen)
    if filled is None:
        room.clear()
        return None
    return [column[:filled] for column in room.table]


def _filled(room: _Room, blocks: Iterable[Block], parse: Parse, scale: Scale, seen: Pass) -> int | None:
    """Put all blocks into their places and return how many rows they are, or None where one could not be read."""
    filled = 0
    waiting: deque[tuple[Block, Future[bool]]] = deque()
    with ThreadPoolExecutor(max_workers=_THREADS) as threads:
        for block in blocks:
            seen.order.check_rows(seen.lines)
            is_full = not room.holds(filled + block.rows)
            while waiting and (is_full or len(waiting) > _THREADS):
                if not _is_sound(waiting.popleft(), seen):
                    return None
            if is_full:
                room.grow(filled, block)
            waiting.append((block, threads.submit(_fill, room, room.table, filled, block, parse, scale)))
            filled += block.rows
        if not all(_is_sound(one, seen) for one in waiting):
            return None
    return filled


def _is_sound(one: tuple[Block, Future[bool]], seen: Pass) -> bool:
    block, future = one
    if not future.result():
        seen.faulty = block
        return False
    return True


def _fill(room: _Room, table: Table, start: int, block: Block, parse: Parse, scale: Scale) -> bool:
    """Put a block's numbers into their place; return whether they are all there and finite."""
    try:
        frame = parse(block.content)
    except pl.exceptions.PolarsError:
        return False
    if frame.height != block.rows or sum(frame.null_count().row(0)):
        return False
    for column, series in enumerate(frame.iter_columns()):
        values = series.to_numpy()
        if not np.isfinite(values).all():
            return False
        room.memory.put(table, column, start, scale(column, values))
    return True


@dataclass
class _Room:
    """Columns that are longer than what was read so far, by what the size of the file lets expect."""

    memory: Memory
    table: Table
    size: int

    def holds(self, rows: int) -> bool:
        """Return whether so many rows fit."""
        return rows <= self.table.shape[1]

    def grow(self, filled: int, block: Block) -> None:
        """Make room for a block and for the rows that may follow, judged by its length."""
        expected = filled + block.rows + int(1.05 * block.rows * self.size / len(block.content)) + 1000
        longer = self.memory.table(len(self.table), expected)
        for column, values in enumerate(self.table[:, :filled]):
            self.memory.put(longer, column, 0, values)
        self.clear()
        self.table = longer

    def clear(self) -> None:
        """Give back what there is; nobody fills it any more."""
        if self.table.size:
            self.memory.give_back(self.table)
        self.table = self.table[:, :0]
