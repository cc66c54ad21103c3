"""Reads run folders with PyPI's junitparser and compares counts with record.json.

Arguments: folders that hold junit.xml and record.json, at any depth. It checks
only what a JUnit reader shows; record.json is checked by the Rust tests.

    python3 -m venv target/venv && target/venv/bin/pip install junitparser
    BUFFERSTOP_JUNIT_OUT=target/junit cargo test --lib report::tests::documents
    target/venv/bin/python tests/python/junit_check.py target/junit
"""

import json
import pathlib
import sys

from junitparser import Error, Failure, JUnitXml


def check(folder: pathlib.Path) -> list[str]:
    """The differences between the two files of one run folder."""
    document = json.loads((folder / "record.json").read_text(encoding="utf-8"))
    record = document["record"]
    suites = list(JUnitXml.fromfile(str(folder / "junit.xml")))
    by_name = {suite.name: suite for suite in suites}
    faults = []
    worst = "pass"
    for suite in suites:
        cases = list(suite)
        for kind, stated in ((Failure, suite.failures), (Error, suite.errors)):
            found = sum(any(isinstance(r, kind) for r in case.result) for case in cases)
            if found != stated:
                faults.append(f"{suite.name}: states {stated} {kind.__name__}, has {found}")
        if suite.tests != len(cases):
            faults.append(f"{suite.name}: states {suite.tests} tests, has {len(cases)}")
        if suite.failures:
            worst = "fail"
        elif suite.errors and worst == "pass":
            worst = "inconclusive"
    if worst != document["verdict"]:
        faults.append(f"counts say {worst}, the record says {document['verdict']}")
    for scenario in record["scenarios"]:
        suite = by_name.get(scenario["name"])
        judged = [m for m in scenario["metrics"] if m["decision"] is not None]
        if suite is None:
            faults.append(f"scenario {scenario['name']} has no suite")
            continue
        for kind, verdict in ((Failure, "fail"), (Error, "inconclusive")):
            wanted = sum(m["decision"]["verdict"] == verdict for m in judged)
            named = [case for case in suite if case.name != "scenario"]
            found = sum(any(isinstance(r, kind) for r in case.result) for case in named)
            if wanted != found:
                faults.append(f"{suite.name}: {wanted} judged {verdict}, {found} shown")
    return faults


def main() -> int:
    """Checks every folder named on the command line; 0 when all agree."""
    folders = sorted(
        path.parent
        for root in sys.argv[1:]
        for path in pathlib.Path(root).rglob("junit.xml")
        if (path.parent / "record.json").exists()
    )
    if not folders:
        print("no run folder found", file=sys.stderr)
        return 64
    bad = 0
    for folder in folders:
        for fault in check(folder):
            print(f"{folder}: {fault}", file=sys.stderr)
            bad = 1
    print(f"{len(folders)} run folders read")
    return bad


if __name__ == "__main__":
    sys.exit(main())
