"""Keeping a taught description: its name, its text and its file."""

from __future__ import annotations

import errno
import re
from pathlib import Path
from typing import IO, Any
from unittest.mock import patch

import pytest
from hypothesis import given
from hypothesis import strategies as st

from gaugelink.devices import catalog
from gaugelink.devices.bluetooth.presentation import Presentation
from gaugelink.devices.description import (
    ByGap,
    ByLength,
    ByMarks,
    ByPacket,
    ByTerminator,
    Decoding,
    Description,
    Framing,
    LinkSettings,
)
from gaugelink.devices.teaching import keeping
from gaugelink.devices.teaching.finding import Finding
from gaugelink.devices.teaching.keeping import KeepingError

PLAIN = Description("taught", "Taught", ByTerminator("\r\n"), Decoding(pattern="(?P<value>.*)"))
UUID = "6f1c0011-52a4-4e0b-9d3e-2b7a5c1e8f40"


def described(framing: Framing, link: LinkSettings, unit: str = "mm") -> Description:
    return Description("taught", "Taught", framing, PLAIN.decoding, link=link, unit=unit)


@pytest.mark.parametrize(
    ("description", "name"),
    [
        (described(ByTerminator("\r\n"), LinkSettings()), "taught-9600-8n1-crlf-mm"),
        (
            described(ByTerminator("\r"), LinkSettings(4800, bits=7, parity="even"), "in"),
            "taught-4800-7e1-cr-in",
        ),
        (described(ByTerminator(";"), LinkSettings()), "taught-9600-8n1-terminator-mm"),
        (described(ByMarks(), LinkSettings(300)), "taught-300-8n1-marks-mm"),
        (described(ByLength(8), LinkSettings(), "hundredths"), "taught-9600-8n1-length-hundredths"),
        (described(ByGap(), LinkSettings()), "taught-9600-8n1-gap-mm"),
        (
            described(ByTerminator("\n"), LinkSettings(characteristic=UUID)),
            "taught-bluetooth-lf-mm",
        ),
        (
            Description(
                "taught",
                "Presented",
                ByPacket(),
                Decoding(presentation=Presentation("sint32", -5, "nmi")),
            ),
            "bluetooth-sint32-nautical-mile",
        ),
    ],
)
def test_the_usual_name_says_what_it_is_and_can_be_a_file_s(
    description: Description, name: str
) -> None:
    assert keeping.usual_name(description) == name
    assert keeping.check_name(name) == name
    assert keeping.renamed(description, name).name == name


@pytest.mark.parametrize("name", ["", ".", "..", ".hidden", "-x", "a/b", "a\\b", "a b", "ä", "a\n"])
def test_a_name_that_could_leave_the_folder_or_hide_in_it_is_refused(
    tmp_path: Path, name: str
) -> None:
    with pytest.raises(KeepingError, match="cannot be a description's name; it takes letters"):
        keeping.check_name(name)
    with pytest.raises(KeepingError):
        keeping.renamed(PLAIN, name)
    with pytest.raises(KeepingError):
        keeping.keep(tmp_path, name, "")
    assert list(tmp_path.iterdir()) == []


@given(st.text(max_size=70))
def test_a_name_that_is_taken_is_one_plain_file_name(name: str) -> None:
    try:
        keeping.check_name(name)
    except KeepingError:
        return
    assert Path(f"/folder/{name}.toml").parent == Path("/folder")
    assert re.fullmatch(r"[A-Za-z0-9._-]{1,64}", name)


def test_what_is_kept_is_found_again_and_never_written_over(tmp_path: Path) -> None:
    folder = tmp_path / "config" / "descriptions"
    finding = Finding(PLAIN, ["it came"], 0.9, None, None, True, True, True, 1.0)
    chosen = keeping.renamed(PLAIN, "dial")
    text = keeping.text_of(finding, chosen)
    keeping.refuse_existing(folder, "dial")
    file = keeping.keep(folder, "dial", text)
    assert file == folder / "dial.toml"
    assert catalog.find("dial", folder) == chosen
    assert "# it came" in file.read_text()
    for refused in (
        lambda: keeping.keep(folder, "dial", "other"),
        lambda: keeping.refuse_existing(folder, "dial"),
    ):
        with pytest.raises(KeepingError, match=r"dial\.toml: is there already; choose another"):
            refused()
    assert file.read_text() == text
    assert keeping.unused(folder, "dial") == "dial-2"
    keeping.keep(folder, "dial-2", text)
    assert keeping.unused(folder, "dial") == "dial-3"
    assert keeping.unused(folder, "other") == "other"


def test_a_question_that_no_one_answered_stands_in_the_text() -> None:
    both = [("one", PLAIN), ("two", PLAIN)]
    finding = Finding(PLAIN, ["it came"], 0.5, "which?", both, True, True, True, 1.0)
    assert "# not certain: which? The likeliest answer was taken" in keeping.text_of(finding, PLAIN)
    assert "which?" not in keeping.text_of(finding, PLAIN, answered=True)
    assert keeping.reasons(finding, answered=True) == ["it came"]


def test_a_folder_that_cannot_be_written_says_so(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("no folder")
    with pytest.raises(KeepingError, match="cannot be written"):
        keeping.keep(tmp_path / "file", "dial", "")
    with pytest.raises(KeepingError, match="cannot be written"):
        keeping.keep(tmp_path / "file" / "below", "dial", "")


def test_a_full_disk_leaves_no_half_description_behind(tmp_path: Path) -> None:
    opened = Path.open

    def full(path: Path, *how: Any, **more: Any) -> IO[str]:
        file: IO[str] = opened(path, *how, **more)
        file.write = _no_space  # type: ignore[method-assign]
        return file

    with (
        patch.object(Path, "open", full),
        pytest.raises(KeepingError, match=r"No space left on device.*nothing was kept"),
    ):
        keeping.keep(tmp_path, "dial", "name = 'dial'")
    assert list(tmp_path.iterdir()) == []


def _no_space(text: str) -> int:
    raise OSError(errno.ENOSPC, "No space left on device")
