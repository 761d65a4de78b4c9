"""All English of the report that is not a judgement's own, in one place: a translation replaces the values here.

What stands in braces is filled in by the code. The sentences of the judgement stand in `daq.procedure.wording`,
`daq.procedure.leak_rules`, `daq.procedure.verdict`, those of danger in `daq.procedure.cautions`.
"""

from __future__ import annotations

from daq.procedure.judgements import EngineVerdict
from daq.procedure.plan import Temperature
from daq.procedure.verdict import Verdict
from daq.records import TapVerdict

# ---- head and advice

KIND = "Leak-down test of an engine"
SUBTITLE = "{layout}{cylinders} cylinder{s}, {strokes}-stroke, firing order {order}"
HEAD_TEST, HEAD_DATE, HEAD_BENCH, HEAD_BY = "Test", "Date", "Bench", "Tested by"
ENGINE_WORD = {
    EngineVerdict.SOUND: "All cylinders sound",
    EngineVerdict.WATCH: "Works, and leaks more than it should",
    EngineVerdict.INVESTIGATE: "Leaks too much",
    EngineVerdict.TOO_CLOSE: "Too close to call",
    EngineVerdict.INCOMPLETE: "Not all cylinders tested",
}
EMPTY_WORD = "Nothing measured"
EMPTY_ADVICE = "No cylinder has been read to the end: nothing can be said of this engine."
CERTAINTY = "Chance that this verdict is right: {chance}."
LIKELIEST = "Likeliest, though not sure: {chance}."
CHANCE_OF_THE_TESTED = "Of the cylinders tested, taken together, likeliest: {word} ({chance})."
STILL_OPEN = "This test has not been ended; what is said here may change."
NOT_ACKNOWLEDGED = "Nobody had acknowledged the cautions before the first air."
AGAINST = "Judged against {name}: {to}{start}."
SOUND_UP_TO, FROM_ON = "sound up to {loss:.1f} %", ", to be investigated from {loss:.1f} %"

# ---- cylinders

CYLINDERS = "The cylinders"
CYLINDER_N = "Cylinder {n}"
CYLINDER, AS_FOUND_PCT, AFTER_TAPS_PCT, VERDICT, CHANCE = (
    "Cylinder",
    "As found, %",
    "After taps, %",
    "Verdict",
    "Chance",
)
TAPS = "Taps"
VERDICTS = {
    Verdict.SOUND: "sound",
    Verdict.WATCH: "watch",
    Verdict.INVESTIGATE: "investigate",
    Verdict.TOO_CLOSE: "too close to call",
}
TAPS_DID = {
    TapVerdict.IMPROVED: "{n}: better",
    TapVerdict.NO_CHANGE: "{n}: no change",
    TapVerdict.WORSE: "{n}: worse",
    TapVerdict.CANNOT_TELL: "{n}: cannot tell",
}
NOT_TESTED = "not tested"
SKIPPED = "skipped"
LOSS_NOTE = (
    "Loss is what is missing of the supply pressure, in percent, at {set_point}. ± is the half-width of the 95 % "
    "interval; chance is that of the verdict, given this uncertainty."
)
CHART_SAID = "Loss of {n} cylinders as found and after taps, with 95 % intervals, against the limits"
LOSS_AXIS = "loss at the set point, %"
SOUND_TO, INVESTIGATE_FROM, ONE_LIMIT = "sound to {loss:.1f}", "investigate from {loss:.1f}", "limit {loss:.1f}"
AS_FOUND, AFTER_TAPS, BARS = "as found", "after taps", "bars: 95 % intervals"
TEST_OF = "test {test}, {day}"
NOTICED = "What was noticed"

# ---- where the air goes

AIR = "Where the air goes"
NO_LEAK = "Every cylinder tested is sound, and nothing was heard: there is nothing to find."
PATH = "{cylinder}: {sentence}"
SPEAKS_FOR, SPEAKS_AGAINST, NEXT = "For {cause}: {reason}", "Against {cause}: {reason}", "Next: {check}"
HEARD_TITLE = "What was heard and seen"
FINDING = "Cylinder {cylinder}: {said}{note}{when}"
FINDING_NOTE = ", “{note}”"
ADDED_LATER = " (added {utc:%Y-%m-%d %H:%M} UTC, after the test)"
FINDING_WITHDRAWN = " (taken back, does not count)"

# ---- conditions

CONDITIONS = "Engine and conditions"
TEMPERATURES = {
    Temperature.COLD: "cold",
    Temperature.HOT: "at working temperature",
    Temperature.UNKNOWN: "nobody said whether cold or hot",
}
ENGINE, ENGINE_WAS, RUN, SET_POINT = "Engine", "Engine was", "Has run", "Supply set to"
RESTRICTOR, BAROMETER, AIR_TEMPERATURE, BORE_STROKE = "Restrictor", "Barometer", "Air", "Bore and stroke"
BAND, RESTRICTOR_SAYS = "{pressure}, within {band}", "{length}, discharge coefficient {cd:.3f} ({how})"
ASSUMED, CALIBRATED = "assumed", "calibrated"
AS_CONFIGURED = "{value} (as configured)"
HOURS, DISTANCE, NOT_SAID, NOT_KNOWN = (
    "{hours:,.1f} hours",
    "{km:,.0f} km ({miles:,.0f} miles)",
    "not said",
    "not known",
)
MISFIT = "Bench and profile"
NOTE = "Note"
BENCH_IS, STARTED, ENDED, NOT_ENDED = "Bench", "Begun", "Ended", "not ended"
SOFTWARE, RAW_LOG = "Software", "Raw log"

# ---- calibration

CALIBRATION = "What it was read with"
CALIBRATION_ID, LINES, PAIRING, RESTRICTOR_MADE = "Calibration", "Transducers", "Pairing", "Restrictor"
ID_ORIGIN = "{id} ({origin})"
NOT_DESCRIBED = "not described in the database"
DATA_SHEET = "data sheet alone: {supply} and {cylinder} full scale, class {accuracy:.2f} % of it; never calibrated"
LINES_MADE = "against a reference gauge on {day}, {age} before the test"
PAIRED = "{id}, on {day}, {age} before the test; {offset} and {gain:+.3f} % taken off"
NOT_PAIRED = "never: the two channels were not brought together at zero flow, which costs most of the uncertainty"
JETS = "{id}, by known jets on {day}, {age} before the test"
NO_JETS = "not calibrated: a discharge coefficient of {cd:.2f} ±{u:.2f} is assumed; the loss does not depend on it"
AGES = (("{n} minutes", 60.0), ("{n} hours", 3600.0), ("{n} days", 86_400.0), ("{n} years", 31_557_600.0))
AFTERWARDS = "after the test, in fact {age}; not"

# ---- traces

TRACES = "The course of each capture"
TRACES_NOTE = (
    "Dashed: supply pressure; full line: cylinder pressure; below: the loss. Dotted uprights with a ring (as found) or "
    "a diamond (after taps) are captures, wedges at the top are taps. Time runs from the air."
)
NO_TRACES = "The samples of this test are not in this database."
TRACE_SAID = "Cylinder {cylinder}: pressures and loss over time, captures and taps"
ATTEMPT = ", attempt {n}"
SECONDS, LOSS_UNIT = "seconds", "loss, %"

# ---- uncertainty

UNCERTAINTY = "How sure this is"
PLAIN_UNCERTAINTY = (
    "A loss of {loss:.1f} ±{u:.1f} % means: of a hundred intervals stated like this one, about ninety-five hold the "
    "true loss. Most of it is alike in all cylinders, so cylinders compare with each other, and before with after the "
    "taps, far better than with a limit."
)
WITHOUT_PAIRING = (
    "The channels were not paired. Pairing them at zero flow takes a minute, with the outlet blocked, and makes this "
    "several times smaller: “boretight calibrate pairing”."
)
BUDGET_OF = "What it is made of, at cylinder {cylinder} {phase}:"
COMPONENT, STANDARD, POINTS, PART = "Component", "Standard u", "Points of loss", "Part"
COMBINED = "All together: {sentence}."
NO_UNCERTAINTY = "These readings carry no budget."

# ---- figures

COMPARE = "Figures that compare with other testers"
COMPARE_NOTE = (
    "Percent from testers with different restrictors do not compare; these do. Of what counts of each cylinder. A hole "
    "of this width, with a smooth edge, leaks as much. Reference loss is what a restrictor of 0.040 in would read at "
    "80 psi (AC 43.13-1B)."
)
AREA_RATIO, LEAK_AREA, FLOW, REFERENCE_LOSS = "Area ratio k", "Leak, mm²", "Flow, g/s", "Reference loss, %"
DIAMETER, FLOW_ANR = {"mm": "Hole of, mm", "in": "Hole of, in"}, {"mm": "Flow, L/min ANR", "in": "Flow, ft³/min ANR"}

# ---- cautions and limits of the method

CAUTIONS = "Cautions"
ACKNOWLEDGED = "Acknowledged before the test by {who}."
CANNOT_JUDGE = "What this method cannot judge"
TAKEN_BACK = "What was taken back"
NOTHING_TAKEN_BACK = "Nothing."
WITHDRAWN = "Cylinder {cylinder}, attempt {attempt}: {losses} %. Does not count{why}."
BECAUSE = ": {why}"
BROKEN_OFF = (
    "Cylinder {cylinder}, attempt {attempt}: {losses} %, broken off before it was vented{withdrawn}. Does not count."
)
AND_WITHDRAWN = ", and taken back"

# ---- how the figures were got

HOW = "How the figures were got"
FORMULAS = (
    (
        "Loss = 100 (1 - p2/p1), p1 supply and p2 cylinder side of the restrictor, gauge. Each is the mean of a window "
        "in which supply and slopes passed a test of stability, carried to its end."
    ),
    "Carried to the set point ps: loss × (1 + pa/ps) / (1 + pa/p1), pa the barometer; exact while the leak is choked.",
    (
        "Area ratio k = p1 N(p2/p1) / (p2 N(pa/p2)), absolute pressures, N the isentropic flow of a nozzle over its "
        "choked flow: what the leak passes, the restrictor passes. Leak area = k × {area:.4f} mm², the effective "
        "area of the restrictor ({cd:.3f} of a bore of {bore})."
    ),
    "Flow by volume is at 100 kPa, 20 °C, 65 % humidity (ISO 8778, ANR). 1 psi = 6.894757 kPa, 1 in = 25.4 mm.",
    "Limits are stated for their own restrictor and supply, and carried to this one by the area of the leak: {limits}.",
    (
        "Uncertainty by JCGM 100 (GUM), verdicts by JCGM 106: a word is given where its chance is 95 % or more. "
        "Cylinders against each other: median and the robust spread Qn, naming at a stated risk for the whole engine."
    ),
)
LIMIT_CARRIED = "{name} {stated:.1f} % at {supply} behind {bore} ({source}) reads {here:.1f} % here"
FOOT = (
    "Made by {software} from stored readings; the judgement is made anew each time from what is stored. This is the "
    "owner's own measurement, no accredited one."
)
SIGN = ("Tested by", "Place and date", "Seen by")
