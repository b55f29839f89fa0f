"""Every threshold of the teaching, in one place, each with its reason."""

from __future__ import annotations

SPEEDS = (9600, 4800, 19200, 115200, 38400, 57600, 2400, 1200, 600, 300)
"""Bits a second that serial indicators use, the most common first."""

REQUESTS = (
    *("\r", "\r\n", "?", "?\r", "?\n", "?\r\n"),
    *(
        f"{query}{end}"
        for query in ("READ?", "MEAS?", "FETC?", "MEASURE?", "FETCH?")
        for end in ("\n", "\r", "\r\n")
    ),
)
"""All that is ever sent. A query of IEEE 488.2 and SCPI ends with a question mark and changes no
setting; an empty line and a lone question mark do not either. What could set, zero or reset an
indicator is not in this list and must never be. The empty lines stand first since they also end
whatever noise an indicator may have taken for the beginning of a request."""

# Listening, in seconds.

QUIET = 2.5
"""Silence before asking: a slow indicator says its value once a second or more often."""

PRESSES = 30.0
"""How long to wait for the button once nothing came by itself and nothing was answered."""

MOST = 20.0
"""How long to listen at the right speed before answering with what there is."""

UNDECIDED = 8.0
"""How long to listen at a speed where bursts are alike: binary frames of a slow indicator."""

LEAST = 2.0
"""How long to listen at least, so that the movement of a hand can show."""

AT_A_SPEED = 1.6
"""How long to listen at a speed once bytes come, unless they say sooner what they are."""

EVERY = 0.3
"""How often what was heard is looked at anew."""

ANSWER = 0.08
"""How long to wait for an answer before the next request, beside the time the bytes take."""

LAST_ANSWER = 0.3
"""The same after the last request at a speed, for an indicator that is slow to answer."""

DOUBT = 3.0
"""After so long at a speed where nothing found reads what comes, the other speeds are tried."""

DOUBTED = 480
"""Bytes, or `BURSTS_ENOUGH` bursts, that must have come by then: some frames."""

HEARD_ENOUGH = 96
"""Bytes at a speed that make no sense there, after which the next is tried."""

BURSTS_ENOUGH = 8
"""Bursts at a speed after which binary frames would have shown."""

CONTROL = 1.0
"""Silence after an answer that shows that nothing comes without asking."""

LATE = 4
"""Requests back to which an answer may belong: about 0.4 s."""

STRAYS = 2
"""Times that bytes come while asking, but are no answer, before a button is listened for."""

PRESSED = 0.4
"""Mean seconds between values above which a hand may have pressed for each."""

HASTE = 0.25
"""Mean seconds between frames below which no hand pressed for each."""

HASTE_FRAMES = 12
"""Frames that must have come so; a hand may press twice in haste, and a button sends twice."""

UNEVEN = 0.25
"""Spread over mean of those seconds above which it was a hand: no indicator is so uneven."""

SELDOM = 0.8
"""Mean seconds between values above which a hand may have pressed evenly: a question is asked,
since what a button sends is taken at once, and what comes by itself only once it stands still."""

STILL = 5.0
"""After so long without movement the maker is asked to move the spindle."""

# Over Bluetooth, in seconds.

ON_THE_AIR = 0.25
"""For a question and its answer: a few of the connection's intervals, which are 50 ms at most in
common use; a write that is acknowledged takes one more."""

BETWEEN_PACKETS = 0.06
"""Silence between two values that parts two frames: the pieces of one come at once, or in the next
interval."""

# Characters.

JUDGED = 20
"""Characters before a speed is judged; a short frame is about ten."""

PARITY_FIT = 0.9
"""Share of characters that must fit a parity; a check byte in each frame may not."""

TEXT = 0.85
"""Share of characters that text must have of what indicators write; a check byte may differ."""

DIGITS = 0.12
"""Share of digits in text from an indicator: at least two in a line of sixteen characters."""

EVEN_BYTES = 0.97
"""Share of even bytes that shows a slower sender: at twice the speed or more the first data bit
is still the start bit, which is 0. Text has as many odd as even characters."""

# Frames.

ENOUGH_FRAMES = 8
"""Frames before an answer is given early: eight of random noise do not look alike."""

ENOUGH_BINARY = 14
"""The same for binary frames, whose bytes could be in either order."""

ENOUGH_PRESSES = 4
"""The same for a button: its frames stand alone, and pressing is work."""

MOST_BYTES = 16_384
"""The newest bytes that are looked at; a fast stream says the same again and again."""

ENOUGH_RIVALS = 24
"""The same when another way of reading them is nearly as good, such as a comma between two numbers
instead of a decimal one."""

RIVAL = 8.0
"""Points between two ways of reading the frames below which more frames are heard."""

LOOKED_AT = 240
"""The newest frames that are looked at; more say no more, and take time."""

ALIKE = 0.75
"""Share of frames that must be of one form. The rest may be headings, echoes or errors."""

IN_TURN = 0.12
"""Share of the frames from which one kind counts as coming in turn with others: one of eight."""

FIELD_ALIKE = 0.9
"""The same for what stands in one field, before it is taken as a field of many forms."""

NEARLY_ALL = 0.97
"""The same below which another way of taking frames apart is tried beside the plain one."""

READ = 0.9
"""Share of whole frames that the finished description must read to be sure."""

SHORTEST = 2.5
"""Mean characters in frames that neither end nor begin with anything: one or two are what a much
faster sender sounds like."""

LONGEST = 96
"""Bytes in a frame at most; IEEE 488.2 numbers have 22 characters, and a line a few fields."""

# Checks.

CHECK_VALUES = 4
"""Different check values that must agree. About 600 rules are tried, each right by chance once
in 256, so four agreeing by chance happen once in ten million."""

TAIL_VALUES, TAIL_MARKS = 8, 4
"""Different last characters, and how many of them are neither letters nor digits, that can only be
a check: no status has so many."""

CHECK_HOLDS = 0.95
"""Share of frames whose check must hold; the rest may be bad frames."""

CODED = 8
"""Different values of a byte, all of them two decimal digits, from which it is no part of a whole
number: a changing byte is so by chance in 100 of 256 cases, and eight times in a row once in 1900.
Should that happen, a few frames more set it right."""

# Which number is the thickness.

MOVED = 5
"""Different values that show a moving spindle, and that a digit which stayed is no part of them; a
clock, battery or thermometer changes less, or in its own way."""

ROUGH = 0.28
"""Mean step over range, from which a series is rough: random values have a third of their range
as their mean step, a hand's movement far less."""

CLOCK_PACE = 0.013
"""How near a power of ten a clock's counts per second are, as a logarithm: within 3 %."""

JITTER = 15
"""Steps of the last digit between the extremes of a number that hardly moves, as a temperature
does in the minute that teaching takes. A hand moves a spindle by hundreds."""

HELD_CHANGES = 2
"""Changes of a number that may be a greatest or least value held so far; two that both come with a
new extreme of another are chance once in a hundred."""

HELD_SHARE = 0.7
"""Share of frames at which the other one goes where it has not been; when it hardly ever turns, a
held value cannot be told from it."""

MARGIN = 3.0
"""Points between the best and the next moving number below which both are named."""

CODE_SHARE = 0.1
"""Share of frames at most in which a number far from all others may stand for no reading."""

CODE_FAR = 3.0
"""How many times as large as the next one such a number is."""

CREDIBLE = 30.0
"""Millimetres: no bench indicator for reeds travels further."""

TRAVEL = 13.0
"""Millimetres: the usual travel of half an inch, and a little."""

FAR_FETCHED = 0.004
"""Weight of all meanings together below which none is to be believed: a last digit that no
indicator has (0.003), or a hand that moved the spindle by less than its own tremor."""

SURE = 0.9
"""Below this share for the best meaning of the digits a question is asked."""
