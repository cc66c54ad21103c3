"""Reads an exported Parquet table with pyarrow and compares it with the same
rows as JSON lines: every cell must say the same, with its type.

    python3 tests/python/parquet_check.py metrics.parquet metrics.jsonl
"""

import datetime
import json
import pathlib
import sys

import pyarrow as pa
import pyarrow.parquet as pq

TEXT, NUMBER = pa.string(), pa.float64()
TYPES = {"started": pa.timestamp("us", tz="UTC"), "model": pa.bool_()}
TYPES |= dict.fromkeys(
    ["value", "standard_uncertainty", "lower", "upper", "margin"], NUMBER
)


def same(cell: object, value: object) -> bool:
    """Whether a cell says what the JSON value says."""
    if isinstance(cell, datetime.datetime):
        told = datetime.datetime.fromisoformat(str(value).replace("Z", "+00:00"))
        return abs((cell - told).total_seconds()) < 2e-6
    return cell == value


def main() -> int:
    """Compares the two files named on the command line; 0 when they agree."""
    table = pq.read_table(sys.argv[1])
    lines = pathlib.Path(sys.argv[2]).read_text(encoding="utf-8").splitlines()
    wanted = [json.loads(line) for line in lines]
    bad = []
    for field in table.schema:
        if field.type != TYPES.get(field.name, TEXT):
            bad.append(f"{field.name} is {field.type}")
    if table.num_rows != len(wanted):
        bad.append(f"{table.num_rows} rows, not {len(wanted)}")
    for number, (row, line) in enumerate(zip(table.to_pylist(), wanted)):
        if row.keys() != line.keys():
            bad.append(f"row {number} has the columns {list(row)}")
            break
        bad += [
            f"row {number}, {name}: {row[name]!r}, not {line[name]!r}"
            for name in row
            if not same(row[name], line[name])
        ]
    groups = pq.ParquetFile(sys.argv[1]).metadata.num_row_groups
    print(f"{table.num_rows} rows, {groups} row groups, {len(bad)} differ")
    print("\n".join(bad[:10]))
    return 1 if bad or not wanted else 0


if __name__ == "__main__":
    sys.exit(main())
