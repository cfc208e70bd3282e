"""simcheck new: a commented starter case, from flags, from a few questions, or from neither."""

from __future__ import annotations

import sys
from collections.abc import Callable
from pathlib import Path
from typing import Any, TypeVar

import click

from simcheck.cli.completing import bodies, case_files
from simcheck.cli.hints import command_for
from simcheck.cli.options import examples, json_option, running
from simcheck.cli.screen import show_json, tell, write
from simcheck.errors import InputError

F = TypeVar("F", bound=Callable[..., Any])

_SUFFIX = ".toml"
_USUAL = "relay.toml"

_OPTIONS = {
    "body": ("NAME", "Planet or moon, one that is built in."),
    "ring_period": ("TIME", 'Nodal period of the ring, such as "12 h".'),
    "ring_altitude": ("LENGTH", "Mean altitude of the ring, instead of its period."),
    "inclination": ("ANGLE", 'Inclination of the ring, such as "35 deg".'),
    "raan": ("ANGLE", "Right ascension of the ring's ascending node."),
    "slots": ("N", "Slots of the ring, evenly spaced."),
    "slot": ("K", "Slot that the craft is to reach, from 0."),
    "members": ("SLOTS", 'Slots that relays hold already, such as "0, 1", or none.'),
    "craft": ("NAME", "Name of the craft."),
    "periapsis_altitude": ("LENGTH", 'Periapsis of the craft\'s orbit, such as "450 km".'),
    "apoapsis_altitude": ("LENGTH", "Apoapsis of the craft's orbit."),
    "craft_inclination": ("ANGLE", "Inclination of the craft's orbit."),
    "craft_raan": ("ANGLE", "Right ascension of the craft's ascending node."),
    "argp": ("ANGLE", "Argument of the craft's periapsis."),
    "true_anomaly": ("ANGLE", "Where the craft is past its periapsis."),
    "dry_mass": ("MASS", 'Mass of the craft without propellant, such as "300 kg".'),
    "propellant": ("MASS", "Propellant on board."),
    "thrust": ("FORCE", 'Thrust of the engine, such as "400 N".'),
    "isp": ("TIME", 'Specific impulse of the engine, such as "318 s".'),
    "duration": ("TIME", 'Time allowed, such as "15 d".'),
    "epoch": ("DATE", 'Epoch in TDB, such as "2034-09-03T00:00:00".'),
    "title": ("TEXT", "What the case is called."),
}
_PROMPTS = {
    "body": "Planet or moon",
    "ring_period": "Ring: its period, or its altitude",
    "inclination": "Ring: inclination",
    "raan": "Ring: right ascension of the ascending node",
    "slots": "Ring: how many slots",
    "slot": "Craft: which slot it is to reach, from 0",
    "members": "Ring: slots that relays hold already",
    "craft": "Craft: name",
    "periapsis_altitude": "Craft: periapsis altitude",
    "apoapsis_altitude": "Craft: apoapsis altitude",
    "craft_inclination": "Craft: inclination",
    "dry_mass": "Craft: mass without propellant",
    "thrust": "Engine: thrust",
    "isp": "Engine: specific impulse",
    "propellant": "Craft: propellant",
    "duration": "Time allowed",
}


def _starter_options(function: F) -> F:
    """An option for every answer."""
    for name, (metavar, text) in reversed(_OPTIONS.items()):
        complete = bodies if name == "body" else None
        flag = f"--{name.replace('_', '-')}"
        function = click.option(flag, name, metavar=metavar, help=text, shell_complete=complete)(
            function
        )
    return function


@click.command(
    "new",
    epilog=examples(
        "simcheck new relay.toml",
        "simcheck new relay.toml --yes",
        'simcheck new moon.toml --body Moon --ring-altitude "4000 km" --slots 3 --yes',
    ),
)
@click.argument(
    "path",
    metavar="[FILE]",
    required=False,
    default=_USUAL,
    type=click.Path(),
    shell_complete=case_files,
)
@_starter_options
@click.option("--yes", is_flag=True, help="Ask nothing: take the defaults for what is not given.")
@json_option
def command(*, path: str, yes: bool, as_json: bool, **answers: str | None) -> int:
    """Write a commented starter case.

    FILE is the case file to write, relay.toml without it; one that is there is not overwritten. On
    a terminal a few questions are asked, each with a default that suits the answers before it; an
    option given is not asked for. Elsewhere, and with --json, --yes takes the defaults. Values
    carry their unit, as in the case file. Exit codes: 0 written, 2 wrong input.
    """
    with running("new", path, as_json):
        _check_target(path)
        given = {name: text for name, text in answers.items() if text is not None}
        _check_given(given)
        if not yes:
            _ask_for(given, can_ask=not as_json and _is_terminal())
        text = _written(path, given)
        step = command_for("check", path)
        if as_json:
            show_json(_document(path, text, step))
        else:
            write(f"wrote {path}; its craft, orbits and engine are invented\nnext: {step}\n")
    return 0


def _check_target(path: str) -> None:
    """Complain before the questions, not after them."""
    target = Path(path)
    if target.suffix != _SUFFIX:
        raise InputError(f"{path}: expected a file that ends in {_SUFFIX}; write {path}{_SUFFIX}")
    try:
        there = target.exists() or target.is_symlink()
        homeless = not target.parent.is_dir()
    except (OSError, ValueError) as error:
        raise InputError(f"{path}: cannot be written: {error}") from None
    if there:
        raise InputError(f"{path}: is there already; remove it or name another file")
    if homeless:
        raise InputError(f"{path}: there is no folder {target.parent}")


def _check_given(given: dict[str, str]) -> None:
    """See that the options make a case; the rest is filled in to suit them."""
    from simcheck.files.case_starter import starter_faults

    if "ring_period" in given and "ring_altitude" in given:
        raise InputError("give --ring-period or --ring-altitude, not both")
    faults = starter_faults(given)
    if faults:
        flags = {name: f"--{name.replace('_', '-')}: " for name in given}
        raise InputError(*(flags.get(fault.question, "") + fault.message for fault in faults))


def _is_terminal() -> bool:
    return sys.stdin.isatty() and sys.stderr.isatty()


def _ask_for(given: dict[str, str], *, can_ask: bool) -> None:
    """Ask what is not given, in place; without a terminal, an error that says what to give."""
    from simcheck.files.case_starter import QUESTIONS

    done = {*given, *({"ring_period"} if "ring_altitude" in given else ())}
    open_ = [name for name in QUESTIONS if name not in done]
    if open_ and not can_ask:
        flags = ", ".join(f"--{name.replace('_', '-')}" for name in open_)
        raise InputError(f"there is no terminal to ask on; give --yes for the defaults, or {flags}")
    if open_:
        tell("Enter takes what stands in brackets; Ctrl-C writes nothing.")
    for name in open_:
        _ask(name, given)


def _ask(name: str, given: dict[str, str]) -> None:
    """Ask one question until the answer makes a case."""
    from simcheck.files.case_starter import completed, starter_faults

    default = completed(given)[name]
    while True:
        answer = click.prompt(_PROMPTS[name], default=default, err=True).strip()
        tried = {**given, _answered(name, answer): answer}
        faults = starter_faults(tried)
        if not faults:
            break
        for fault in faults:
            tell(f"  {fault.message}")
    given.update(tried)


def _answered(name: str, answer: str) -> str:
    """What an answer is to: the ring's size is its period, or its altitude where it is a length."""
    from simcheck.files.units import UnitError, parse

    if name != "ring_period":
        return name
    try:
        parse(answer, "length")
    except UnitError:
        return name
    return "ring_altitude"


def _written(path: str, given: dict[str, str]) -> str:
    """Write the case; never over a file that has come there meanwhile. Returns its text."""
    from simcheck.files.case_starter import starter_text

    text = starter_text(given, path)
    try:
        with Path(path).open("x", encoding="utf-8", newline="\n") as stream:
            stream.write(text)
    except FileExistsError:
        raise InputError(f"{path}: is there already; remove it or name another file") from None
    except PermissionError as error:
        raise InputError(f"{path}: cannot be written: {error.strerror}") from None
    except OSError:
        Path(path).unlink(missing_ok=True)
        raise
    return text


def _document(path: str, text: str, step: str) -> dict[str, Any]:
    from simcheck.files.case_toml import load_case
    from simcheck.version import VERSION

    case = load_case(path)
    return {
        "schema": "simcheck.new/1",
        "case": {"title": case.title, "path": path, "epoch": case.epoch},
        "simcheck": VERSION,
        "inputs_sha256": case.inputs_sha256,
        "text": text,
        "next": step,
    }
