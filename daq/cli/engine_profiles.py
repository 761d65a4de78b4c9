"""`boretight engine list`, `show`, `add`, `edit` and `remove`."""

from __future__ import annotations

import os
import shlex
import subprocess
import sys
import tempfile
from collections.abc import Callable
from dataclasses import asdict
from pathlib import Path
from typing import Any

from daq import engine_files
from daq.cli.output import print_json, print_table
from daq.config import Config, load
from daq.engine_sheet import SUFFIX, find, read
from daq.errors import UsageError
from daq.procedure.engine import EngineProfile, dashed
from daq.units import M_PER_INCH, both

UNKNOWN = "not known"
SHAPES = ("inline", "vee", "flat", "radial", "other", "single")
QUESTIONS = (
    ("name", "Its name, as reports shall print it"),
    ("firing_order", "Firing order, like 1-3-4-2"),
    ("layout", f"Layout: {', '.join(SHAPES)}"),
    ("banks", "Banks, each from the front, like 1-3-5-7 2-4-6-8"),
    ("strokes", "Strokes, 4 or 2"),
    ("bore", "Bore with its unit, like 86 mm or 3.39 in"),
    ("stroke", "Stroke"),
    ("rod", "Rod, between the centres of its eyes"),
    ("compression_ratio", "Compression ratio, like 9.5"),
    ("rotation", "Direction of rotation seen from the front: clockwise or counter-clockwise"),
)


def configuration(path: Path | None) -> Config:
    """Without the profile that it names: these commands are what mends a wrong one."""
    return load(path, engine={"profile": ""})


def list_profiles(config_path: Path | None, json: bool) -> None:
    folder = configuration(config_path).storage.engines
    found, old = engine_files.list_engines(folder), engine_files.archived(folder)
    if json:
        rows = [{"key": e.key, "own": e.own, "profile": _plain(e.profile), "complaint": e.complaint} for e in found]
        print_json({"folder": str(folder), "engines": rows, "archived": [path.name for path in old]})
        return
    rows_of_text = [[e.key, *_summary(e), "your own" if e.own else "comes with boretight"] for e in found]
    print_table("Engine profiles", ["key", "name", "layout", "firing order", ""], rows_of_text)
    for engine in found:
        if engine.complaint:
            print(f"boretight: {engine.complaint}", file=sys.stderr)
    print(f"Your own are kept in {folder}" + (f", {len(old)} more in its archive." if old else "."))


def _summary(engine: engine_files.Listed) -> list[str]:
    profile = engine.profile
    if profile is None:
        return ["cannot be read", "", ""]
    return [profile.name, f"{profile.layout} {profile.cylinders}", dashed(profile.firing_order)]


def _plain(profile: EngineProfile | None) -> dict[str, Any] | None:
    """SI, with what follows from it."""
    if profile is None:
        return None
    return {
        **asdict(profile),
        "cylinders": profile.cylinders,
        "firing_intervals_deg": profile.firing_intervals_deg,
        "rows": profile.rows,
        "restrictor_m": profile.restrictor_m,
        "cannot_judge": profile.cannot_judge,
    }


def show_profile(key: str, config_path: Path | None, json: bool) -> None:
    folder = configuration(config_path).storage.engines
    profile = engine_files.load_engine(folder, key)
    if json:
        print_json({"key": key, **(_plain(profile) or {})})
        return
    print_table(profile.name, ["", ""], described(profile))
    print("What this method cannot judge of it:")
    for sentence in profile.cannot_judge:
        print(f"- {sentence}")


def described(profile: EngineProfile) -> list[list[str]]:
    """Each fact of a profile with its word, lengths in both units."""
    geometry = profile.geometry
    clearance = geometry.clearance_m3 if geometry else profile.clearance_m3
    turning = f"{profile.rotation}, seen from the {profile.seen_from}" if profile.rotation else UNKNOWN
    intervals = ", ".join(f"{turn:g}" for turn in profile.firing_intervals_deg)
    rows = [
        ["layout", f"{profile.layout}, {profile.cylinders} cylinders, {profile.strokes} strokes"],
        ["banks, from the front", " / ".join(map(dashed, profile.rows)) or UNKNOWN],
        ["firing order", dashed(profile.firing_order)],
        ["degrees between firings", intervals],
        ["turns", turning],
        ["bore", _length(profile.bore_m)],
        ["stroke", _length(profile.stroke_m)],
        ["rod", _length(profile.rod_length_m)],
        ["swept volume", f"{geometry.swept_m3 * 1e6:.1f} cm3 a cylinder" if geometry else UNKNOWN],
        ["clearance volume", f"{clearance * 1e6:.1f} cm3" if clearance else UNKNOWN],
        ["restrictor", _length(profile.restrictor_m)],
        ["set point", both(profile.set_point_pa) if profile.set_point_pa else "that of the bench"],
        ["certified", "yes" if profile.certified else "no"],
    ]
    return [*rows, ["notes", profile.notes]] if profile.notes else rows


def _length(length_m: float | None) -> str:
    return UNKNOWN if length_m is None else f"{length_m * 1000:.2f} mm ({length_m / M_PER_INCH:.3f} in)"


# ---- making and changing


def add_profile(
    key: str, like: str | None, said: dict[str, Any], sets: list[str], config_path: Path | None, json: bool
) -> None:
    """`like`: a key or a file to begin with; `said` and `sets` go before it."""
    folder = configuration(config_path).storage.engines
    changes = {**said, **parsed(sets)}
    if not like and not changes and sys.stdin.isatty():
        changes = asked(key)
    begun = {**_begun(folder, like), "name": key} if like else {}
    values = {word: value for word, value in {**begun, **changes}.items() if value is not None}
    _tell_kept(key, engine_files.add(folder, key, values), json)


def _begun(folder: Path, like: str) -> dict[str, Any]:
    return read(Path(like)) if like.endswith(SUFFIX) else read(find(folder, like))


def parsed(sets: list[str]) -> dict[str, Any]:
    """`--set key=value` each."""
    for pair in sets:
        if "=" not in pair:
            raise UsageError(f"--set {pair!r} has no equals sign.", 'Like --set bore="86 mm".')
    return {key.strip(): engine_files.value_of(value) for key, _, value in (pair.partition("=") for pair in sets)}


def asked(key: str, answer: Callable[[str], str] | None = None) -> dict[str, Any]:
    """Question by question; an empty answer leaves it unknown."""
    import typer

    ask = answer or (lambda question: typer.prompt(question, default="", show_default=False))
    print("Leave empty what you do not know; `boretight engine edit` adds it later.")
    answers = {word: engine_files.value_of(ask(question)) for word, question in QUESTIONS}
    return {**answers, "name": answers["name"] or key}


def edit_profile(key: str, sets: list[str], config_path: Path | None, json: bool) -> None:
    """One that came with boretight becomes one's own by the first change."""
    folder = configuration(config_path).storage.engines
    before = engine_files.text_of(folder, key)
    after = engine_files.changed(before, parsed(sets)) if sets else in_editor(key, before)
    if after == before:
        print("Nothing was changed.", file=sys.stderr if json else sys.stdout)
        return
    _tell_kept(key, engine_files.keep(folder, key, after), json)


def in_editor(key: str, text: str) -> str:
    """What came out of the user's editor. UsageError if there is none. The draft stays, whatever follows."""
    editor = os.environ.get("VISUAL") or os.environ.get("EDITOR")
    if not editor:
        raise UsageError("No editor is named in $EDITOR.", f'Or: boretight engine edit {key} --set bore="86 mm"')
    draft = Path(tempfile.mkdtemp(prefix="boretight-")) / f"{key}{SUFFIX}"
    draft.write_text(text, encoding="utf-8")
    try:
        subprocess.run([*shlex.split(editor), draft], check=True)
    except (OSError, subprocess.CalledProcessError) as error:
        raise UsageError(
            f"The editor {editor!r} failed; nothing was changed.",
            "Name one that works, or change it by --set.",
            str(error),
        ) from error
    print(f"What you wrote is also in {draft}.", file=sys.stderr)
    return draft.read_text(encoding="utf-8")


def _tell_kept(key: str, path: Path, json: bool) -> None:
    if json:
        print_json({"key": key, "path": str(path)})
        return
    print(f"Kept as {path}. `boretight engine show {key}` shows it.")
    print(f'To test with it, write profile = "{key}" under [engine] in the configuration.')


def remove_profile(key: str, config_path: Path | None, json: bool) -> None:
    config = configuration(config_path)
    folder = config.storage.engines
    tests = _readings_of(config.storage.database, _name(folder, key))
    path = engine_files.put_away(folder, key)
    if json:
        print_json({"key": key, "archived": str(path), "stable_readings": tests})
        return
    stored = f"{tests} stable readings of it stay in the database, under its name. " if tests else ""
    print(f"{stored}The profile is now {path}. `boretight engine add {key} --like {path}` brings it back.")


def _name(folder: Path, key: str) -> str:
    """Its name even where the rest of the file is wrong."""
    return str(read(find(folder, key), key)["name"])


def _readings_of(database: Path, engine: str) -> int:
    """How many stable readings of this engine are stored; 0 where there is no database."""
    if not database.is_file():
        return 0
    from daq.sinks.store import readable

    with readable(database) as source:
        rows = list(source.query("SELECT count(*) AS n FROM stable_reading WHERE engine = ?", [engine]))
    return int(rows[0]["n"])
