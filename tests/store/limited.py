"""A process whose files may not grow beyond a limit: captures until the disk refuses.

Prints a JSON line per step: what was acknowledged, what the refusal said, what is kept then, and
what is kept once there is space again.
"""

from __future__ import annotations

import json
import resource
import signal
import sys
from pathlib import Path

from gaugelink.store.errors import StoreError
from tests.store.sample import begin_walk, capture, open_store


def main(path: Path, limit: int) -> None:
    """Capture into the store at `path`, no file of which may grow beyond `limit` bytes."""
    # Without this the process would be ended instead of told.
    signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
    with open_store(path) as store:
        walk = begin_walk(store, state=b"0")
        _, most = resource.getrlimit(resource.RLIMIT_FSIZE)
        resource.setrlimit(resource.RLIMIT_FSIZE, (limit, most))
        acknowledged: list[int] = []
        while True:
            state = b"%d" % (len(acknowledged) + 1)
            try:
                acknowledged.append(store.add_capture(capture(walk), state).capture)
            except StoreError as error:
                print(json.dumps({"acknowledged": acknowledged, "text": str(error)}))
                break
        for again in (False, True):
            if again:
                resource.setrlimit(resource.RLIMIT_FSIZE, (most, most))
                acknowledged.append(store.add_capture(capture(walk), b"-1").capture)
            latest = store.latest_walk("bench")
            assert latest is not None
            kept = [each.capture for each in store.captures()]
            print(json.dumps({"kept": kept, "state": latest.state.decode()}))


if __name__ == "__main__":
    main(Path(sys.argv[1]), int(sys.argv[2]))
