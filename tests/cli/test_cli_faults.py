"""Commands that are stopped, cut off or left alone end, say why, and leave nothing going on."""

from __future__ import annotations

import asyncio
import json
import os
import signal
import subprocess
import sys
import threading
import time
from collections.abc import Callable, Iterable, Iterator
from pathlib import Path
from typing import Any

import pytest

from gaugelink.cli import bench, common
from gaugelink.folders import folders
from gaugelink.store.errors import StoreError
from gaugelink.store.store import Store
from tests.cli.test_commands import Cli, Indicator
from tests.devices.pty_port import PtyPort

DESCRIPTION = ("--description", "signed-decimal-unit-cr")
LONG = ("--style", "millrace-long", "--stage", "windows")
QUICK = ("--style", "quick", "--stage", "w")


@pytest.fixture
def cli(tmp_path: Path) -> Cli:
    return Cli(tmp_path / "home")


@pytest.fixture
def indicator() -> Iterator[str]:
    with PtyPort() as port:
        sending = Indicator(port, (43, 40))
        sending.start()
        yield port.path
        sending.end()


@pytest.fixture
def hub(cli: Cli) -> Iterator[subprocess.Popen[str]]:
    """A daemon that runs beside the commands."""
    with subprocess.Popen(
        cli.command("serve", "--json"), stdout=subprocess.PIPE, text=True
    ) as process:
        assert process.stdout
        assert json.loads(process.stdout.readline())["is"] == "serving"
        yield process
        process.terminate()


def walk(cli: Cli, port: str, *more: str) -> list[str]:
    return cli.command("walk", "--port", port, *DESCRIPTION, *more, "--json")


def captures(cli: Cli) -> int:
    return int(json.loads(cli("diagnose", "--json"))["captures"])


def lines_of(process: subprocess.Popen[str]) -> Iterator[dict[str, Any]]:
    assert process.stdout
    return (json.loads(line) for line in process.stdout)


@pytest.mark.parametrize("number", [signal.SIGINT, signal.SIGTERM, signal.SIGHUP])
def test_a_walk_that_is_stopped_captures_nothing_more_in_the_hub_that_goes_on(
    cli: Cli, indicator: str, hub: subprocess.Popen[str], number: signal.Signals
) -> None:
    with subprocess.Popen(
        walk(cli, indicator, *LONG, "--reed", "R1"),
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
    ) as process:
        next(each for each in lines_of(process) if each["is"] == "captured")
        process.send_signal(number)
        assert process.wait(10) == 128 + number
        assert process.stderr
        assert "Traceback" not in process.stderr.read()
    before = captures(cli)
    time.sleep(2.5)  # the spindle goes on up and down: long enough for two more
    assert captures(cli) == before


def test_the_end_of_the_lines_is_not_before_what_they_led_to(
    cli: Cli, indicator: str, hub: subprocess.Popen[str]
) -> None:
    for _ in range(20):
        with subprocess.Popen(
            walk(cli, indicator, *LONG, "--reed", "R1", "--trigger", "lines", "--anew"),
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            text=True,
        ) as process:
            # A walk that has just begun has seen nothing stand still; a maker takes longer, too.
            time.sleep(1.0)
            printed, _ = process.communicate("\n", timeout=30)
        assert process.returncode == 0
        *said, summary = [json.loads(line) for line in printed.splitlines()]
        taken = sum(each["is"] == "captured" for each in said)
        assert summary["captured"] == taken
        assert summary["stations"] - summary["verdicts"].get("unmeasured", 0) == taken
        if taken:
            return
    pytest.fail("nothing could be captured")


@pytest.mark.parametrize("closed", [True, False], ids=["closed", "not text"])
def test_standard_input_that_is_closed_or_no_text_ends_a_walk(
    cli: Cli, indicator: str, closed: bool
) -> None:
    command = walk(cli, indicator, *LONG, "--reed", "R1", "--trigger", "lines")
    if closed:
        done = subprocess.run(
            ["sh", "-c", 'exec "$@" <&-', "sh", *command], capture_output=True, timeout=30
        )
        assert done.returncode == 0
        assert json.loads(done.stdout.splitlines()[-1])["captured"] == 0
    else:
        done = subprocess.run(
            command,
            input=b"\xff\xfe\n",
            capture_output=True,
            timeout=30,
            env={**os.environ, "PYTHONIOENCODING": "utf-8:strict"},
        )
        assert done.returncode == 0
        assert b"is no gesture" in done.stderr
        assert done.stderr.count(b"\n") == 1
    assert b"Traceback" not in done.stderr


@pytest.mark.parametrize("words", [("rack",), ("styles",), ("diagnose", "--json")])
def test_standard_output_may_be_closed(cli: Cli, words: tuple[str, ...]) -> None:
    command = ["sh", "-c", 'exec "$@" >&-', "sh", *cli.command(*words)]
    done = subprocess.run(command, capture_output=True, timeout=30)
    assert (done.returncode, done.stderr) == (0, b"")


def test_two_walks_in_one_hub_stay_apart(
    cli: Cli, indicator: str, hub: subprocess.Popen[str]
) -> None:
    with (
        PtyPort() as other,
        subprocess.Popen(
            walk(cli, indicator, *LONG, "--reed", "R1"), stdout=subprocess.PIPE, text=True
        ) as process,
    ):
        next(each for each in lines_of(process) if each["is"] == "captured")
        sending = Indicator(other, (55,))
        sending.start()
        try:
            second = ("walk", "--port", other.path, *DESCRIPTION, *QUICK, "--reed", "R2", "--json")
            cli(*second, code=1)
            assert "give this one a --bench of its own" in cli.err
            assert reeds(cli.lines(*second, "--bench", "door")) == {"R2"}
            process.send_signal(signal.SIGINT)
            assert reeds(lines_of(process)) <= {"R1"}
        finally:
            sending.end()


def reeds(lines: Iterable[dict[str, Any]]) -> set[str]:
    """The reeds that the lines speak of; a refusal speaks of none."""
    return {each["reed"] for each in lines if "reed" in each}


def test_a_second_walk_at_a_bench_is_refused_and_leaves_the_first_alone(
    cli: Cli, indicator: str, hub: subprocess.Popen[str]
) -> None:
    first = subprocess.Popen(
        walk(cli, indicator, *LONG, "--reed", "R1"), stdout=subprocess.PIPE, text=True
    )
    with first:
        lines = lines_of(first)
        next(each for each in lines if each["is"] == "captured")
        second = walk(cli, indicator, *QUICK, "--reed", "R2")[5:]
        cli(*second, code=1)
        assert "give this one a --bench of its own" in cli.err
        assert next(each for each in lines if each["is"] == "captured")
        *_, summary = cli.lines(*second, "--bench", "second")
        assert summary["done"]
        first.terminate()


def test_a_watch_that_loses_its_hub_fails(
    cli: Cli, indicator: str, hub: subprocess.Popen[str]
) -> None:
    process = subprocess.Popen(
        walk(cli, indicator, *QUICK, "--reed", "R1"), stdout=subprocess.DEVNULL
    )
    process.wait(30)
    watch = subprocess.Popen(
        cli.command("watch", "--json", "--count", "100000"),
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
    )
    with watch:
        next(lines_of(watch))
        hub.terminate()
        assert watch.wait(10) == 1
        assert watch.stderr
        assert "the hub ended" in watch.stderr.read()


def test_serve_ends_in_order_when_its_terminal_is_closed(cli: Cli) -> None:
    with subprocess.Popen(cli.command("serve", "--json"), stdout=subprocess.PIPE) as process:
        assert process.stdout
        process.stdout.readline()
        process.send_signal(signal.SIGHUP)
        assert process.wait(10) == 0
    assert not (cli.home / "run" / "hub.sock").exists()


async def test_who_loses_the_race_to_host_waits_for_the_winner(tmp_path: Path) -> None:
    from gaugelink.daemon import messages as m

    mine = folders(tmp_path)
    winner = Store.open(mine.store)
    asyncio.get_running_loop().call_later(0.6, winner.close)
    async with asyncio.timeout(20), common.reach(mine) as client:
        assert await client.ask(m.Rack()) == []


def children(process: int) -> list[int]:
    found = Path(f"/proc/{process}/task/{process}/children").read_text().split()
    return [int(each) for each in found]


def practising(cli: Cli, tmp_path: Path, **more: Any) -> subprocess.Popen[str]:
    (tmp_path / "tmp").mkdir()
    return subprocess.Popen(
        cli.command("practice", "--headless", "--json"),
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
        env={**os.environ, "TMPDIR": str(tmp_path / "tmp")},
        **more,
    )


def gone(process: int) -> bool:
    return not Path(f"/proc/{process}").exists()


def wait_for(true: Callable[[], bool]) -> None:
    until = time.monotonic() + 10
    while not true():
        assert time.monotonic() < until
        time.sleep(0.01)


@pytest.mark.parametrize("number", [signal.SIGINT, signal.SIGTERM, signal.SIGHUP])
def test_practice_that_is_stopped_leaves_neither_simulator_nor_files(
    cli: Cli, tmp_path: Path, number: signal.Signals
) -> None:
    with practising(cli, tmp_path) as process:
        next(lines_of(process))
        (simulator,) = children(process.pid)
        process.send_signal(number)
        assert process.wait(15) == 128 + number
        assert process.stderr
        assert process.stderr.read().strip() == ""
    wait_for(lambda: gone(simulator))
    assert list((tmp_path / "tmp").iterdir()) == []


def test_practice_whose_simulator_is_gone_says_so(cli: Cli, tmp_path: Path) -> None:
    with practising(cli, tmp_path) as process:
        next(lines_of(process))
        (simulator,) = children(process.pid)
        os.kill(simulator, signal.SIGKILL)
        assert process.wait(15) == 1
        assert process.stderr
        said = process.stderr.read().splitlines()
        assert any("the simulated indicator ended: start again" in each for each in said)
        assert not any("Traceback" in each for each in said)


async def test_a_bench_that_is_left_while_it_connects_is_no_failure(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    whole = Store.open
    waiting, go_on = threading.Event(), threading.Event()

    def slow(path: Path, **more: Any) -> Store:
        waiting.set()
        go_on.wait(10)
        return whole(path, **more)

    monkeypatch.setattr(Store, "open", slow)
    async with asyncio.timeout(20), bench._door(folders(tmp_path)) as connect:
        connecting = asyncio.ensure_future(connect())
        await asyncio.to_thread(waiting.wait, 10)
        connecting.cancel()
        await asyncio.wait([connecting])
        go_on.set()


async def test_a_bench_that_cannot_host_says_the_reason_alone(tmp_path: Path) -> None:
    from gaugelink.reading import GaugelinkError

    (tmp_path / "run" / "hub.sock").mkdir(parents=True)
    async with bench._door(folders(tmp_path)) as connect:
        with pytest.raises(GaugelinkError, match="--home"):
            await connect()


async def test_a_store_held_by_what_is_no_hub_is_said_in_the_end(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(common, "STARTING", 0.2)
    mine = folders(tmp_path)
    with (
        Store.open(mine.store),
        pytest.raises(StoreError, match=f"in use by process {os.getpid()}"),
    ):
        async with common.reach(mine):
            pytest.fail("it cannot be reached")


def test_an_empty_home_is_none(monkeypatch: pytest.MonkeyPatch, own_folders: Path) -> None:
    monkeypatch.setenv("GAUGELINK_HOME", "")
    assert own_folders in folders().data.parents


def test_a_code_that_a_command_ends_with_is_the_process_s(tmp_path: Path) -> None:
    script = (
        "import sys, click, gaugelink.cli as cli\n"
        "from gaugelink.cli import rack\n"
        "rack.command.callback = lambda **_: (_ for _ in ()).throw(click.exceptions.Exit(3))\n"
        "sys.argv = ['gaugelink', 'rack']\n"
        "cli.main()\n"
    )
    assert subprocess.run([sys.executable, "-c", script], timeout=30).returncode == 3
