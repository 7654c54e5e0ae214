"""The verbs of the command and their options, as ``--help`` tells them, for the handbook."""

from __future__ import annotations

from click.testing import CliRunner

from gradehaul.command import main


def commands() -> str:
    """Return the help of the command and of each of its verbs."""
    parts = [f"```text\n{_help([])}```"]
    parts += [f"## gradehaul {verb}\n\n```text\n{_help([verb])}```" for verb in main.commands]
    return "\n\n".join(parts)


def _help(verb: list[str]) -> str:
    result = CliRunner(env={"COLUMNS": "80"}).invoke(main, [*verb, "--help"], prog_name="gradehaul")
    assert result.exit_code == 0, verb
    return "".join(f"{line.rstrip()}\n" for line in result.output.splitlines())
