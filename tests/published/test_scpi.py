"""Numbers as IEEE 488.2 and SCPI write them."""

from __future__ import annotations

from decimal import Decimal

import pytest

from gaugelink.devices.catalog import find
from gaugelink.devices.decoding import Decoded, Decoder, Refusal
from gaugelink.devices.description import ByTerminator, Decoding, Description
from tests.published.tables import table

FORMATS = table("scpi.toml", "nr_formats")
LENIENT = table("scpi.toml", "lenient_examples")
SPECIAL = table("scpi.toml", "special_values")

ANY_NUMBER = r"(?P<sign>[+-]?)(?P<value>\d+\.?\d*|\.\d+)([eE](?P<exponent>[+-]?\d+))?"
"""The flexible form NRf, which takes NR1, NR2 and NR3."""

LISTENER = Decoder(
    Description(
        name="listener",
        title="Takes every form of number",
        framing=ByTerminator("\n"),
        decoding=Decoding(pattern=ANY_NUMBER),
        unit="um",
        range=(Decimal(-(10**9)), Decimal(10**9)),
    )
)

PRINTED = [*FORMATS["NR1"], *FORMATS["NR2"], *FORMATS["NR3"], *FORMATS["NRf"]]
TAKEN = [*PRINTED, *LENIENT["NR1"], *LENIENT["NR2"], *LENIENT["NR3"]]


@pytest.mark.parametrize("text", TAKEN)
def test_every_printed_number_is_read_exactly_or_refused_for_its_size(text: str) -> None:
    found = LISTENER.decode(text.encode())
    if abs(Decimal(text).adjusted()) > 12:
        assert isinstance(found, Refusal)
        assert found.reason in ("not a number", "too many digits")
    else:
        assert isinstance(found, Decoded)
        assert found.raw.value == Decimal(text)
        last_digit = Decimal(1).scaleb(int(Decimal(text).as_tuple().exponent))
        assert found.resolution == last_digit / 10, "a micrometre is a tenth of a hundredth"


@pytest.mark.parametrize("text", LENIENT["NR3"])
def test_the_shipped_query_takes_every_form_of_exponent(text: str) -> None:
    found = Decoder(find("asked-query-scientific")).decode(text.encode())
    # In metres the larger ones are no thickness: out of range, but read.
    reason = found.reason if isinstance(found, Refusal) else ""
    assert reason == ("range" if abs(Decimal(text)) > Decimal("0.03") else "")


@pytest.mark.parametrize("text", [*FORMATS["NR1"], *FORMATS["NR2"]])
def test_the_shipped_query_wants_an_exponent(text: str) -> None:
    found = Decoder(find("asked-query-scientific")).decode(text.encode())
    assert isinstance(found, Refusal)
    assert found.reason == "no match"


@pytest.mark.parametrize("name", ["not_a_number", "plus_infinity", "minus_infinity"])
@pytest.mark.parametrize("spelt", ["{}", " {} ", "+{}"])
def test_special_values_never_become_a_thickness(name: str, spelt: str) -> None:
    text = spelt.format(SPECIAL[name]).replace("+-", "-")
    for sent in (text, text.replace("E", "E+"), text.lower()):
        found = Decoder(find("asked-query-scientific")).decode(sent.encode())
        assert isinstance(found, Refusal)
        assert found.reason == "not a number"
        assert isinstance(LISTENER.decode(sent.strip().encode()), Refusal)
