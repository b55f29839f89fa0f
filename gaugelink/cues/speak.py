"""Says one thing through pyttsx3; a script that `voice` runs as a process of its own.

What to say, how fast, how loud, and to which file, if not aloud, come as JSON.
"""

from __future__ import annotations

import json
import os
import sys


def main() -> None:
    """Say one thing."""
    answer = os.dup(1)
    os.dup2(2, 1)  # the library prints what it does
    import pyttsx3  # type: ignore[import-untyped]

    engine = pyttsx3.init()
    os.write(answer, b"ready\n")
    wanted = json.loads(sys.stdin.buffer.read() or b"null")
    if wanted is None:
        return  # nobody wants anything said any more
    engine.setProperty("rate", wanted["rate"])
    engine.setProperty("volume", wanted["volume"])
    if wanted["path"]:
        engine.save_to_file(wanted["text"], wanted["path"])
    else:
        engine.say(wanted["text"])
    if str(engine) == "espeak":
        # `runAndWait` cancels what this engine has not come to yet, such as the rate, and returns
        # before it has spoken. This loop is ended by the engine, once it has.
        engine.startLoop()
    else:
        engine.runAndWait()


if __name__ == "__main__":
    main()
    sys.stdout.flush()
    sys.stderr.flush()
    # At once: the engine's own thread would be caught in the middle of the interpreter's end.
    os._exit(0)
