"""The command line: finds the command asked for, and turns errors into messages and exit codes.

Exit codes: 0 within tolerance, 1 outside, 2 the input is wrong, 3 no plan within the limits,
70 a bug of simcheck, 74 the result could not be written, 76 a planner at fault, 130 interrupted.
"""

from __future__ import annotations

import errno
import importlib
import os
import sys
import traceback
from collections.abc import Sequence
from pathlib import Path

import click
from click.shell_completion import CompletionItem

from simcheck.cli.hints import after_error, suggest
from simcheck.cli.options import examples
from simcheck.cli.screen import discard_output, tell
from simcheck.errors import SimcheckError
from simcheck.version import VERSION

BUG, UNWRITTEN, INTERRUPTED = 70, 74, 130
_FULL = {errno.ENOSPC, errno.EIO, errno.EFBIG, errno.EDQUOT}
SHOW_TRACEBACK = "SIMCHECK_TRACEBACK"

COMMANDS = {
    "new": "Write a commented starter case.",
    "check": "Plan, fly the nominal and judge it: the main job.",
    "plan": "The burns only, each with its reason and its alternatives.",
    "fly": "Fly a plan and judge the flight.",
    "trim": "What to do next, from a measured state.",
    "disperse": "How likely it works, and how much propellant to hold back.",
    "hold": "The finished ring: its service, how long it lasts, its upkeep.",
    "assign": "Several craft, several slots: who goes where.",
    "report": "One self-contained HTML page of a result, with figures.",
    "regress": "Plan and fly cases anew, and compare them with their baselines.",
    "planners": "The planners that --planner can name.",
    "completion": "Print the script that completes commands in your shell.",
}
"""Each command's line in the help; it lives in the module of its name, imported when asked for."""


class LazyGroup(click.Group):
    """A group that imports a command's module only to run it or to show its own help."""

    def list_commands(self, ctx: click.Context) -> list[str]:
        """Names in the order of the help."""
        return list(COMMANDS)

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:
        """Import the module of a command."""
        if cmd_name not in COMMANDS:
            return None
        command = importlib.import_module(f"simcheck.cli.{cmd_name}").command
        return command if isinstance(command, click.Command) else None

    def resolve_command(
        self, ctx: click.Context, args: list[str]
    ) -> tuple[str | None, click.Command | None, list[str]]:
        """Find the command, or say which one may have been meant."""
        name = args[0]
        if name not in COMMANDS and not name.startswith("-") and not ctx.resilient_parsing:
            raise click.UsageError(_unknown(name), ctx)
        return super().resolve_command(ctx, args)

    def shell_complete(self, ctx: click.Context, incomplete: str) -> list[CompletionItem]:
        """Commands without importing any; the group's own options otherwise."""
        offered = [
            CompletionItem(name, help=text)
            for name, text in COMMANDS.items()
            if name.startswith(incomplete)
        ]
        return offered or click.Command.shell_complete(self, ctx, incomplete)

    def format_commands(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        """Write the help without importing any command."""
        with formatter.section("Commands"):
            formatter.write_dl(list(COMMANDS.items()))


def _unknown(name: str) -> str:
    """What is said of a command that there is not."""
    if name.endswith(".toml"):
        return f'No such command "{name}". Did you mean simcheck check {name}?'
    import difflib

    near = difflib.get_close_matches(name.lower(), COMMANDS, n=1, cutoff=0.5)
    hint = f"Did you mean {near[0]}?" if near else f"The commands are {', '.join(COMMANDS)}."
    return f'No such command "{name[:40]}". {hint}'


@click.group(
    cls=LazyGroup,
    context_settings={"help_option_names": ["-h", "--help"]},
    epilog=examples(
        "simcheck new relay.toml",
        "simcheck check relay.toml",
        "simcheck COMMAND --help",
    ),
)
@click.version_option(VERSION, prog_name="simcheck", message="%(prog)s %(version)s")
def simcheck() -> None:
    """Plan, fly and judge the burns that bring a craft to its place in a ring of relays.

    Exit codes: 0 within tolerance, 1 outside, 2 wrong input, 3 no plan within the limits.
    """


def main(arguments: Sequence[str] | None = None) -> int:
    """Run the command line and return its exit code; errors become one message on stderr."""
    given = list(sys.argv[1:] if arguments is None else arguments)
    try:
        code = simcheck.main(
            given,
            prog_name="simcheck",
            standalone_mode=False,
        )
    except SimcheckError as error:
        if error.__cause__ is not None:
            _trace(error.__cause__)
        tell(f"simcheck: {error}")
        suggest(after_error(error, "".join(given[:1])), as_json="--json" in given)
        code = error.exit_code
    except click.ClickException as error:
        error.show()
        code = error.exit_code
    except (KeyboardInterrupt, click.Abort):
        tell("simcheck: interrupted")
        code = INTERRUPTED
    except Exception as error:
        code = _unwritten(error) if _is_full(error) else _bug(error)
    return code if isinstance(code, int) else 0


def _is_full(error: Exception) -> bool:
    """Whether what stdout goes to takes no more."""
    return isinstance(error, OSError) and error.errno in _FULL


def _unwritten(error: Exception) -> int:
    discard_output()
    tell(f"simcheck: the result could not be written: {error}")
    return UNWRITTEN


def _bug(error: Exception) -> int:
    """Report an exception that no one expected, and where it came from."""
    _trace(error)
    frames = traceback.extract_tb(error.__traceback__)
    place = f" at {Path(frames[-1].filename).name}:{frames[-1].lineno}" if frames else ""
    text = " ".join(str(error).split())
    tell(
        f"simcheck: a bug of simcheck: {type(error).__name__}{place}: {text}"
        f" ({SHOW_TRACEBACK}=1 shows where)"
    )
    return BUG


def _trace(error: BaseException) -> None:
    if os.environ.get(SHOW_TRACEBACK) == "1":
        tell("".join(traceback.format_exception(error)).rstrip())


if __name__ == "__main__":
    sys.exit(main())
