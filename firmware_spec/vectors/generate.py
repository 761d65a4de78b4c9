"""Writes the golden vectors: `python firmware_spec/vectors/generate.py`, then review the difference.

Bodies and fields stand here by hand, side by side; only the check value is computed, by the bitwise rule of the
specification and by nothing of the project. The tests read the written files and never run this.
"""

# ruff: noqa: E501 - tables of data read better with one row a line

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

HERE = Path(__file__).parent


def crc16(data: bytes) -> int:
    """Ref: protocol.md, section 5."""
    crc = 0xFFFF
    for byte in data:
        crc ^= byte << 8
        for _ in range(8):
            crc = ((crc << 1) ^ 0x1021 if crc & 0x8000 else crc << 1) & 0xFFFF
    return crc


def sealed(body: str) -> str:
    return f"{body}*{crc16(body.encode('latin-1')):04X}"


def sample(name: str, body: str, *fields: int) -> dict[str, Any]:
    keys = ("sequence", "clock_us", "supply_count", "cylinder_count", "reference", "flags")
    return frame(name, "sample", body, **dict(zip(keys, fields, strict=True)))


def frame(name: str, kind: str, body: str, **fields: Any) -> dict[str, Any]:
    return {"name": name, "line": sealed(body), "type": kind, "fields": fields}


GOOD = [
    sample("example of the specification", "S,01A4,002014E4,0A22,0973,C2CE,40", 420, 2102500, 2594, 2419, 49870, 64),
    sample("all zero", "S,0000,00000000,0000,0000,0000,00", 0, 0, 0, 0, 0, 0),
    sample(
        "all ones", "S,FFFF,FFFFFFFF,FFFF,FFFF,FFFF,FF", 65535, 4294967295, 65535, 65535, 65535, 255
    ),
    sample("each digit in its place", "S,0123,456789AB,CDEF,0246,8ACE,13", 291, 1164413355, 52719, 582, 35534, 19),
    sample("last before the clock wraps", "S,5B05,FFFFF9CA,0A22,0A0C,C350,40", 23301, 4294965706, 2594, 2572, 50000, 64),
    sample("first after the clock wrapped", "S,5B06,00000D52,0A22,0A0C,C350,40", 23302, 3410, 2594, 2572, 50000, 64),
    sample("mark input down", "S,0010,00030D40,0A22,0A0C,C350,41", 16, 200000, 2594, 2572, 50000, 65),
    sample("overrun and transmit drop", "S,0012,00033450,0A22,0A0C,C350,46", 18, 210000, 2594, 2572, 50000, 70),
    sample("reference low", "S,0013,000347D8,0A22,0A0C,B3B0,48", 19, 215000, 2594, 2572, 46000, 72),
    sample("reference high, saturated", "S,0014,00035B60,0FFF,0A0C,D2F0,70", 20, 220000, 4095, 2572, 54000, 112),
    sample("reserved flag bit is ignored, not rejected", "S,0015,00036EE8,0A22,0A0C,C350,80", 21, 225000, 2594, 2572, 50000, 128),
    sample("absolute reference: a count", "S,0016,00038270,19AA,1800,2800,40", 22, 230000, 6570, 6144, 10240, 64),
    frame("heartbeat, stopped", "heartbeat", "H,000F4240,00,0000,0000", clock_us=1000000, running=False, dropped=0, errors=0),
    frame("heartbeat, running, with losses", "heartbeat", "H,FFFFFFFF,01,FFFF,0008", clock_us=4294967295, running=True, dropped=65535, errors=8),
    frame("mark button pressed", "input", "I,0020D7BE,01,01", clock_us=2152382, number=1, pressed=True),
    frame("mark button released", "input", "I,0023A1F0,01,00", clock_us=2335216, number=1, pressed=False),
    frame("another input", "input", "I,00000000,FF,01", clock_us=0, number=255, pressed=True),
    frame("reply with an empty text", "reply", "R,0002,0,", tag=2, status=0, text=""),
    frame("reply to a command without tag", "reply", "R,0000,0,200", tag=0, status=0, text="200"),
    frame("reply with commas and quotation marks", "reply", 'R,FFFF,0,-113,"Undefined header"', tag=65535, status=0, text='-113,"Undefined header"'),
    frame("refusal", "reply", "R,00A2,-221,Settings conflict", tag=162, status=-221, text="Settings conflict"),
    frame("reply with every printable character", "reply", "R,0ABC,0, !\"#$%&'()+,-./0:;<=>?@AZ[\\]^_`az{|}~", tag=2748, status=0, text=" !\"#$%&'()+,-./0:;<=>?@AZ[\\]^_`az{|}~"),
    frame("reply of the longest text", "reply", "R,0ABD,0," + "t" * 100, tag=2749, status=0, text="t" * 100),
    frame("boot, unknown cause", "boot", "B,00,0000,00", cause=0, boot_count=0, calibration_valid=False),
    frame("boot, power-on", "boot", "B,01,0007,01", cause=1, boot_count=7, calibration_valid=True),
    frame("boot, software", "boot", "B,05,FFFF,00", cause=5, boot_count=65535, calibration_valid=False),
]  # fmt: skip

SOUND = sealed("S,01A4,002014E4,0A22,0973,C2CE,40")

CORRUPT = [
    ("one digit of a count changed", SOUND.replace("0A22", "0A23"), "bad_crc"),
    ("one digit of the check value changed", SOUND[:-1] + ("0" if SOUND[-1] != "0" else "1"), "bad_crc"),
    ("a digit lost", SOUND.replace("0973", "973"), "bad_crc"),
    ("a digit doubled", SOUND.replace("0973", "09733"), "bad_crc"),
    ("two fields swapped", SOUND.replace("0A22,0973", "0973,0A22"), "bad_crc"),
    ("garbage glued in front", "#garbage" + SOUND, "bad_crc"),
    ("the end of a cut frame glued in front", "73,C2CE,40*B918" + SOUND, "bad_crc"),
    ("check value of the wrong start value (XMODEM)", "H,000F4240,00,0000,0000*4ECA", "bad_crc"),
    ("end missing", SOUND[:20], "no_crc"),
    ("check value missing", SOUND[:33], "no_crc"),
    ("check value too short", SOUND[:-1], "no_crc"),
    ("check value in lower case", SOUND[:34] + SOUND[34:].lower(), "no_crc"),
    ("check value not hexadecimal", SOUND[:34] + "GGGG", "no_crc"),
    ("something after the check value", SOUND + " ", "no_crc"),
    ("two CR", SOUND + "\r\r", "not_ascii"),
    ("plain text", "Hello from setup()", "no_crc"),
    ("a bare line", "2594,2419", "no_crc"),
    ("a byte with the top bit set", "\xd3" + SOUND[1:], "not_ascii"),
    ("a NUL", SOUND[:10] + "\x00" + SOUND[11:], "not_ascii"),
    ("a tab", sealed("R,0001,0,a\tb"), "not_ascii"),
    ("over 120 bytes", sealed("R,0001,0," + "t" * 107), "oversize"),
    ("over 120 bytes of noise", "\xff" * 300, "oversize"),
    ("type unknown", sealed("Z,0001"), "unknown_type"),
    ("type in lower case", sealed("s,01A4,002014E4,0A22,0973,C2CE,40"), "unknown_type"),
    ("type of two letters", sealed("SS,01A4"), "unknown_type"),
    ("empty body", sealed(""), "unknown_type"),
    ("sample: lower-case digits", sealed("S,01a4,002014e4,0a22,0973,c2ce,40"), "bad_grammar"),
    ("sample: blank for a zero", sealed("S,01A4,002014E4, A22,0973,C2CE,40"), "bad_grammar"),
    ("sample: sign", sealed("S,01A4,002014E4,+A22,0973,C2CE,40"), "bad_grammar"),
    ("sample: underscore", sealed("S,01A4,002014E4,0_22,0973,C2CE,40"), "bad_grammar"),
    ("sample: decimal point", sealed("S,01A4,002014E4,0A.2,0973,C2CE,40"), "bad_grammar"),
    ("sample: 0x", sealed("S,01A4,002014E4,0x22,0973,C2CE,40"), "bad_grammar"),
    ("sample: leading zeros left out", sealed("S,01A4,2014E4,A22,973,C2CE,40"), "bad_grammar"),
    ("sample: a field missing", sealed("S,01A4,002014E4,0A22,0973,C2CE"), "bad_grammar"),
    ("sample: a field too many", sealed("S,01A4,002014E4,0A22,0973,C2CE,40,00"), "bad_grammar"),
    ("sample: semicolons", sealed("S;01A4;002014E4;0A22;0973;C2CE;40"), "unknown_type"),
    ("sample: a comma moved", sealed("S,01A4,002014E40,A22,0973,C2CE,40"), "bad_grammar"),
    ("sample: a star for a digit", sealed("S,01A4,002014E4,0A2*,0973,C2CE,40"), "bad_grammar"),
    ("heartbeat: running is 02", sealed("H,000F4240,02,0000,0000"), "bad_grammar"),
    ("heartbeat: running in one digit", sealed("H,000F4240,1,0000,0000"), "bad_grammar"),
    ("heartbeat: a field missing", sealed("H,000F4240,00,0000"), "bad_grammar"),
    ("input: state is FF", sealed("I,0020D7BE,01,FF"), "bad_grammar"),
    ("reply: status is a positive number", sealed("R,0001,113,text"), "bad_grammar"),
    ("reply: status with leading zero", sealed("R,0001,-0113,text"), "bad_grammar"),
    ("reply: minus zero", sealed("R,0001,-0,text"), "bad_grammar"),
    ("reply: no text field", sealed("R,0001,0"), "bad_grammar"),
    ("reply: a star in the text", sealed("R,0001,0,2*3"), "bad_grammar"),
    ("reply: text of 101 bytes", sealed("R,0001,0," + "t" * 101), "bad_grammar"),
    ("boot: cause is 06", sealed("B,06,0001,01"), "bad_grammar"),
    ("boot: calibration is 10", sealed("B,01,0001,10"), "bad_grammar"),
]  # fmt: skip

BOOT, BEAT = sealed("B,04,0008,01"), sealed("H,000F4240,00,0000,0000")
STREAMS = [
    ("LF alone", SOUND + "\n", ["sample"]),
    ("CR LF", SOUND + "\r\n" + BEAT + "\r\n", ["sample", "heartbeat"]),
    ("empty lines are silent", "\n\r\n\n" + SOUND + "\n\n", ["sample"]),
    ("the last line has not ended", SOUND + "\n" + SOUND, ["sample"]),
    ("a reset in mid-line", SOUND + "\n" + SOUND[:17] + "\n" + BOOT + "\n", ["sample", "no_crc", "boot"]),
    ("a reset in mid-line of a board that forgot the LF", SOUND[:17] + BOOT + "\n" + BEAT + "\n", ["bad_crc", "heartbeat"]),
    ("a lost LF costs the two frames that it parted", SOUND + BEAT + "\n" + BEAT + "\n", ["bad_crc", "heartbeat"]),
    ("garbage on a line of its own", SOUND + "\n\x00\x80*?\n" + SOUND + "\n", ["sample", "not_ascii", "sample"]),
    ("garbage glued in front costs that line only", "?!" + SOUND + "\n" + SOUND + "\n", ["bad_crc", "sample"]),
    ("a flood without LF is one bad line", "x" * 1000 + "\n" + SOUND + "\n", ["oversize", "sample"]),
    ("a flood that has not ended", "x" * 1000, ["oversize"]),
    ("the longest line, with CR", sealed("R,0001,0," + "t" * 100) + "\r\n", ["reply"]),
    ("120 bytes are not too long", "x" * 120 + "\n", ["no_crc"]),
    ("120 bytes and CR are not too long", "x" * 120 + "\r\n", ["no_crc"]),
    ("a CR inside a line is a byte like any other", "x" * 120 + "\ry\n", ["oversize"]),
    ("121 bytes are too long", "x" * 121 + "\n", ["oversize"]),
    ("two damaged samples between sound ones", f"{SOUND}\n{SOUND[:-1]}\n{SOUND.replace('0A22', '0B22')}\n{SOUND}\n", ["sample", "no_crc", "bad_crc", "sample"]),
]  # fmt: skip


def parsed(line: str, header: str, *arguments: str, query: bool = False, tag: int = 0) -> dict[str, Any]:
    return {"line": line, "tag": tag, "header": header, "query": query, "arguments": list(arguments)}


def refused(line: str, error: int, tag: int = 0) -> dict[str, Any]:
    return {"line": line, "tag": tag, "error": error}


COMMANDS = [
    parsed("*IDN?", "*IDN", query=True),
    parsed("@00A1 *idn?", "*IDN", query=True, tag=161),
    parsed("@00a1 *Idn?\r", "*IDN", query=True, tag=161),
    parsed("@FFFF  *RST", "*RST", tag=65535),
    parsed("@0000 *CLS", "*CLS"),
    parsed("  *TST?  ", "*TST", query=True),
    parsed("SYST:ERR?", "SYSTEM:ERROR", query=True),
    parsed("system:error?", "SYSTEM:ERROR", query=True),
    parsed("SYSTem:ERR?", "SYSTEM:ERROR", query=True),
    parsed("SYST:PROT?", "SYSTEM:PROTOCOL", query=True),
    parsed("CONF:RATE 200", "CONFIGURE:RATE", "200"),
    parsed("configure:rate\t+0200", "CONFIGURE:RATE", "200"),
    parsed("CONF:RATE?", "CONFIGURE:RATE", query=True),
    parsed("CONF:ADC?", "CONFIGURE:ADC", query=True),
    parsed("INIT", "INITIATE"),
    parsed("initiate", "INITIATE"),
    parsed("ABOR", "ABORT"),
    parsed("Abort", "ABORT"),
    parsed("CAL:DATA SUPP,500000,258553,20250110", "CALIBRATION:DATA", "SUPPLY", "500000", "258553", "20250110"),
    parsed("cal:data cylinder , -1200 , 258553 , 20250110", "CALIBRATION:DATA", "CYLINDER", "-1200", "258553", "20250110"),
    parsed("CAL:DATA? CYL", "CALIBRATION:DATA", "CYLINDER", query=True),
    parsed("CAL:STAT?", "CALIBRATION:STATE", query=True),
    refused("FOO", -113),
    refused("@00A1 FOO?", -113, tag=161),
    refused("*IDN", -113),
    refused("*RST?", -113),
    refused("INIT?", -113),
    refused("SYSTE:ERR?", -113),
    refused("SYST", -113),
    refused("SYST:ERR:NEXT?", -113),
    refused(":SYST:ERR?", -113),
    refused("*CLS;*RST", -113),
    refused("@12 *IDN?", -113),
    refused("@00G1 *IDN?", -113),
    refused("@00A1*IDN?", -113),
    refused("@00A1", -113),
    refused("\xff*IDN?", -113),
    refused("*IDN? " + "x" * 80, -113),
    refused("@0007 CONF:RATE", -109, tag=7),
    refused("CONF:RATE ,", -109),
    refused("CAL:DATA SUPP,500000,258553", -109),
    refused("CAL:DATA SUPP,,258553,20250110", -109),
    refused("CAL:DATA?", -109),
    refused("*IDN? 1", -108),
    refused("CONF:RATE 200,100", -108),
    refused("CAL:DATA SUPP,500000,258553,20250110,1", -108),
    refused("CONF:RATE FAST", -104),
    refused("CONF:RATE 1e2", -104),
    refused("CONF:RATE 2_0", -104),
    refused("CONF:RATE 0x20", -104),
    refused("CONF:RATE 200.0", -104),
    refused("CONF:RATE 2 0", -104),
    refused("CAL:DATA CYL,zero,258553,20250110", -104),
    refused("CONF:RATE 0", -222),
    refused("CONF:RATE -200", -222),
    refused("CONF:RATE 10001", -222),
    refused("CONF:RATE 99999999999999999999", -222),
    refused("CAL:DATA SUPP,10000001,258553,20250110", -222),
    refused("CAL:DATA SUPP,500000,0,20250110", -222),
    refused("CAL:DATA SUPP,500000,258553,250110", -222),
    refused("CAL:DATA TANK,500000,258553,20250110", -224),
    refused("CAL:DATA? SUPPL", -224),
    refused("CAL:DATA? 1", -224),
    refused("CAL:DATA TANK,zero,0,0", -224),
]  # fmt: skip


def step(send: str, *bodies: str) -> dict[str, Any]:
    return {"send": send, "replies": [sealed(f"R,{body}") for body in bodies]}


UNDEFINED, EMPTY = "-113,Undefined header", '0,0,"No error"'
SESSIONS = [
    {
        "name": "handshake",
        "steps": [
            step("\n"),
            step("@0001 *IDN?\n", "0001,0,Invented Instruments,Bench Board,0042,1.0.3"),
            step("@0002 ABOR\r\n", "0002,0,"),
            step("@0003 SYST:PROT?\n", "0003,0,1"),
            step("@0004 SYST:ERR?\n", f"0004,{EMPTY}"),
            step("@0005 *TST?\n", "0005,0,0"),
            step("@0006 CONF:ADC?\n", "0006,0,12,RATIO"),
            step("@0007 CAL:STAT?\n", "0007,0,0"),
            step("@0008 CONF:RATE 100\n", "0008,0,"),
            step("@0009 CONF:RATE?\n", "0009,0,100"),
            step("@000A INIT\n", "000A,0,"),
        ],
    },
    {
        "name": "several lines at once, without tags, blank lines between",
        "steps": [step("*CLS\n\n \n*TST?\r\n\r\nSYST:PROT?\n", "0000,0,", "0000,0,0", "0000,0,1")],
    },
    {
        "name": "rates",
        "steps": [
            step("@0001 CONF:RATE?\n", "0001,0,200"),
            step("@0002 CONF:RATE 236\n", "0002,0,"),
            step("@0003 CONF:RATE 237\n", "0003,-221,Settings conflict"),
            step("@0004 CONF:RATE 0\n", "0004,-222,Data out of range"),
            step("@0005 CONF:RATE?\n", "0005,0,236"),
            step("@0006 *RST\n", "0006,0,"),
            step("@0007 CONF:RATE?\n", "0007,0,200"),
            step("@0008 SYST:ERR?\n", '0008,0,-221,"Settings conflict"'),
            step("@0009 SYST:ERR?\n", '0009,0,-222,"Data out of range"'),
            step("@000A SYST:ERR?\n", f"000A,{EMPTY}"),
        ],
    },
    {
        "name": "calibration",
        "steps": [
            step("@0001 CAL:DATA? SUPP\n", "0001,0,0,0,00000000"),
            step("@0002 CAL:DATA SUPP,500000,258553,20250110\n", "0002,0,"),
            step("@0003 CAL:STAT?\n", "0003,0,0"),
            step("@0004 CAL:DATA CYL,-498200,258710,20250111\n", "0004,0,"),
            step("@0005 CAL:STAT?\n", "0005,0,1"),
            step("@0006 INIT\n", "0006,0,"),
            step("@0007 CAL:DATA CYL,0,1,20250112\n", "0007,-221,Settings conflict"),
            step("@0008 CAL:DATA? CYL\n", "0008,0,-498200,258710,20250111"),
            step("@0009 ABOR\n", "0009,0,"),
            step("@000A CAL:DATA? SUPPLY\n", "000A,0,500000,258553,20250110"),
        ],
    },
    {
        "name": "the error queue holds eight, oldest first, and marks its overflow",
        "steps": [
            step("@0001 FOO\n", f"0001,{UNDEFINED}"),
            step("@0002 CONF:RATE\n", "0002,-109,Missing parameter"),
            step("@0003 *IDN? 1\n", "0003,-108,Parameter not allowed"),
            step("@0004 CONF:RATE X\n", "0004,-104,Data type error"),
            step("@0005 CONF:RATE 0\n", "0005,-222,Data out of range"),
            step("@0006 CAL:DATA? X\n", "0006,-224,Illegal parameter value"),
            step("@0007 FOO\n", f"0007,{UNDEFINED}"),
            step("@0008 FOO\n", f"0008,{UNDEFINED}"),
            step("@0009 CONF:RATE\n", "0009,-109,Missing parameter"),
            step("@000A SYST:ERR?\n", '000A,0,-113,"Undefined header"'),
            step("@000B SYST:ERR?\n", '000B,0,-109,"Missing parameter"'),
            step("@000C SYST:ERR?\n", '000C,0,-108,"Parameter not allowed"'),
            step("@000D SYST:ERR?\n", '000D,0,-104,"Data type error"'),
            step("@000E SYST:ERR?\n", '000E,0,-222,"Data out of range"'),
            step("@000F SYST:ERR?\n", '000F,0,-224,"Illegal parameter value"'),
            step("@0010 SYST:ERR?\n", '0010,0,-113,"Undefined header"'),
            step("@0011 SYST:ERR?\n", '0011,0,-350,"Queue overflow"'),
            step("@0012 SYST:ERR?\n", f"0012,{EMPTY}"),
        ],
    },
    {
        "name": "clearing the error queue",
        "steps": [
            step("@0001 FOO\n", f"0001,{UNDEFINED}"),
            step("@0002 *CLS\n", "0002,0,"),
            step("@0003 SYST:ERR?\n", f"0003,{EMPTY}"),
        ],
    },
    {
        "name": "garbage costs one line",
        "steps": [
            step("\xff\xfe*IDN?\n", f"0000,{UNDEFINED}"),
            step("x" * 500 + "\n@0001 *TST?\n", f"0000,{UNDEFINED}", "0001,0,0"),
        ],
    },
]  # fmt: skip

BARE_GOOD = [
    ("2594,2419", 2594, 2419),
    ("2594;2419", 2594, 2419),
    ("2594 2419", 2594, 2419),
    ("2594\t2419", 2594, 2419),
    ("2594 , 2419", 2594, 2419),
    ("  2594,2419  ", 2594, 2419),
    ("2594,2419\r", 2594, 2419),
    ("0,65535", 0, 65535),
    ("00512,000000498", 512, 498),
]
BARE_BAD = [
    ("2594", "bad_grammar"),
    ("2594,", "bad_grammar"),
    (",2419", "bad_grammar"),
    ("2594,2419,1", "bad_grammar"),
    ("2594,,2419", "bad_grammar"),
    ("2594:2419", "bad_grammar"),
    ("-1,2419", "bad_grammar"),
    ("+1,2419", "bad_grammar"),
    ("2594.0,2419", "bad_grammar"),
    ("0xA22,0x973", "bad_grammar"),
    ("A22,973", "bad_grammar"),
    ("supply=2594 cylinder=2419", "bad_grammar"),
    ("\xb2,2419", "bad_grammar"),
    ("65536,2419", "out_of_range"),
    ("2594,99999999999999999999", "out_of_range"),
    ("1" * 121 + ",1", "oversize"),
    (SOUND, "bad_grammar"),
]


def write(name: str, rows: list[Any]) -> None:
    text = "[\n" + ",\n".join(json.dumps(row) for row in rows) + "\n]\n"
    (HERE / name).write_text(text, encoding="ascii")


def main() -> None:
    write("good_frames.json", GOOD)
    write("corrupt_lines.json", [dict(zip(("name", "line", "reason"), row, strict=True)) for row in CORRUPT])
    write("streams.json", [dict(zip(("name", "stream", "frames"), row, strict=True)) for row in STREAMS])
    write("commands.json", COMMANDS)
    write("sessions.json", SESSIONS)
    write(
        "bare_lines.json",
        [dict(zip(("line", "supply_count", "cylinder_count"), row, strict=True)) for row in BARE_GOOD]
        + [dict(zip(("line", "reason"), row, strict=True)) for row in BARE_BAD],
    )


if __name__ == "__main__":
    main()
