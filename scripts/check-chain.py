#!/usr/bin/env python3
"""Recompute the chains of a job's folder from the README's words alone.

    check-chain.py JOBDIR [NUMBER]

A second, independent reading of the rule: 'thouwright verify' does the same and
much more. Exits 1 where a row does not follow from the one before it.
"""
import csv
import hashlib
import pathlib
import sys


def short(data: bytes) -> bytes:
    return hashlib.sha256(data).hexdigest()[:16].encode()


def check(path: pathlib.Path, number: str) -> int:
    head, *rows = path.read_bytes().split(b"\n")
    if rows.pop() != b"":
        sys.exit(f"{path}: the last row has no line end")
    columns = next(csv.reader([head.decode()]))
    chain = short(f"{path.name} {number}\n".encode() + head)
    for line, row in enumerate(rows, 2):
        payload, _, stated = row.rpartition(b",")
        chain = short(chain + payload)
        if chain != stated:
            sys.exit(f"{path}:{line}: the chain is {stated.decode()}, expected {chain.decode()}")
        if len(next(csv.reader([row.decode()], strict=True))) != len(columns):
            sys.exit(f"{path}:{line}: not {len(columns)} columns")
    return len(rows)


job = pathlib.Path(sys.argv[1])
number = sys.argv[2] if len(sys.argv) > 2 else job.resolve().name
files = sorted(job.glob("*.csv"))
print(f"{sum(check(f, number) for f in files)} rows in {len(files)} files follow from each other")
