"""Redoes a store's hash chain with Python's own sqlite3 and hashlib.

Arguments: store files, such as reports/model.sqlite. It checks the chain alone;
`records verify` checks the index and the kept bytes as well.

    python3 tests/python/chain_check.py reports/model.sqlite
"""

import hashlib
import pathlib
import sqlite3
import sys


def first_fault(path: pathlib.Path) -> tuple[int, str | None]:
    """Lines read, and what is wrong with the first one that does not follow."""
    store = sqlite3.connect(f"{path.resolve().as_uri()}?mode=ro", uri=True)
    link, count = "0" * 64, 0
    rows = store.execute("SELECT position, text, link FROM lines ORDER BY position")
    for position, text, stored in rows:
        link = hashlib.sha256(f"{link}\n{text}".encode()).hexdigest()
        if position != count + 1:
            return count, f"line {count + 1} is missing"
        if link != stored:
            return count, f"line {position} does not follow"
        count = position
    return count, None


def main() -> int:
    """Checks every store named on the command line; 0 when all are intact."""
    bad = 0 if len(sys.argv) > 1 else 64
    for name in sys.argv[1:]:
        count, fault = first_fault(pathlib.Path(name))
        print(f"{name}: {count} lines read, {fault or 'intact'}")
        bad |= fault is not None
    return bad


if __name__ == "__main__":
    sys.exit(main())
