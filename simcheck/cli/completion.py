"""simcheck completion: the script that makes a shell complete our commands and their options."""

from __future__ import annotations

import click
from click.shell_completion import get_completion_class

from simcheck.cli.options import examples
from simcheck.cli.screen import write

_PROGRAM, _VARIABLE = "simcheck", "_SIMCHECK_COMPLETE"
_INSTALL = {
    "bash": (
        "simcheck completion bash > ~/.local/share/bash-completion/completions/simcheck",
        'eval "$(simcheck completion bash)"',
        "~/.bashrc",
    ),
    "zsh": (
        'simcheck completion zsh > "${fpath[1]}/_simcheck"',
        'eval "$(simcheck completion zsh)"',
        "~/.zshrc, after compinit",
    ),
    "fish": (
        "simcheck completion fish > ~/.config/fish/completions/simcheck.fish",
        "simcheck completion fish | source",
        "~/.config/fish/config.fish",
    ),
}


@click.command(
    "completion",
    epilog=examples(
        "simcheck completion bash > ~/.simcheck.bash",
        _INSTALL["zsh"][0],
        _INSTALL["fish"][0],
    ),
)
@click.argument("shell", metavar="SHELL", type=click.Choice(sorted(_INSTALL)))
def command(*, shell: str) -> int:
    """Print the script that completes commands in your shell.

    SHELL is bash (4.4 or later), zsh or fish. It completes commands, options, case files, and the
    names of planners and bodies. Exit codes: 0 printed, 2 wrong input.
    """
    write(script(shell))
    return 0


def script(shell: str) -> str:
    """The script for a shell, which asks simcheck what to offer; how to install it on top."""
    from simcheck.cli.main import simcheck

    found = get_completion_class(shell)
    if found is None:
        raise click.UsageError(f"no completion for {shell} in this version of click")
    complete = found(simcheck, {}, _PROGRAM, _VARIABLE)
    body = complete.source_template % complete.source_vars()
    kept, once, where = _INSTALL[shell]
    lines = body.strip("\n").split("\n")
    head = lines[:1] if lines[0].startswith("#compdef") else []  # zsh wants it in the first line
    said = ["# Completion of simcheck. To install it:", f"#   {kept}"]
    said += [f"# or write this into {where}:", f"#   {once}"]
    return "\n".join([*head, *said, *lines[len(head) :]]) + "\n"
