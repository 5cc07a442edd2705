"""The kept corpus of texts that broke an intake or might: small ones as files, large ones made here."""

from pathlib import Path

__all__ = ["HOSTILE", "LARGE", "SMALL"]

CORPUS = Path(__file__).parent / "corpus"
SMALL = {path.name: path.read_bytes() for path in sorted(CORPUS.iterdir())}
LARGE = {
    "field_200000.csv": b"0,10," + b"9 " * 100_000 + b"\n1,2,3\n",
    "quoted_200000.csv": b'0,10,"' + b"x" * 200_000 + b'"\n1,2,3\n',
    "cells_250000.csv": b"1," * 249_999 + b"1\n",
    "rows_150000.csv": b"1\n" * 150_000,
    "points_150000.json": b"[" + b",".join(b"[1,2]" for _ in range(150_000)) + b"]",
    "points_150000.txt": b"1 2\n" * 150_000,
    "parts_40.json": b"[" + b",".join(b"[[[0,0],[1,0],[1,1]]]" for _ in range(40)) + b"]",
    "blanks_300000.json": b"[" + b" " * 300_000 + b"]",
    "separators_300000.txt": b";" * 300_000,
}
HOSTILE = {**SMALL, **LARGE}
