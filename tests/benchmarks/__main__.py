"""Print the table of every performance claim: `python -m tests.benchmarks [NAME …]`."""

from __future__ import annotations

import argparse
import importlib
import platform

from tests.benchmarks.table import Row, show

NAMES = (
    "decoding",
    "capturing",
    "starting",
    "following",
    "settling",
    "walking",
    "teaching",
    "advice",
)


def main() -> None:
    """Measure what was asked for, or everything."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("names", nargs="*", metavar="NAME", help=", ".join(NAMES))
    names = parser.parse_args().names or NAMES
    for name in names:
        if name not in NAMES:
            parser.error(f"no benchmark is called {name!r}; known are: {', '.join(NAMES)}")
    print(f"Python {platform.python_version()} on {platform.platform()}")
    rows: list[Row] = []
    for name in names:
        rows += importlib.import_module(f"tests.benchmarks.{name}").measure()
    print(show(rows))


if __name__ == "__main__":
    main()
