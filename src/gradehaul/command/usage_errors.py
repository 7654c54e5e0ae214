"""A command line that cannot be read: what is wrong, what was found, and what to write instead."""

from __future__ import annotations

import re

import click

from gradehaul.command.parameters import option_of
from gradehaul.errors import PlanError, quoted
from gradehaul.plan.names import instead, nearest

_EXAMPLES = {"PLAN": "my-layout.toml", "DRAWING": "my-layout.dxf", "NAME": "my-layout"}
"""What stands for an argument in what to write."""
_ALIKE = 0.75
"""How alike an option must be to the one typed: their dashes are alike already."""
_NUMBER = 3
"""What stands for a number in what to write, where the option has none of its own and takes this one."""


def misused(error: click.UsageError, ctx: click.Context) -> str:
    """Return what is wrong with a command line in a line, with the nearest name where one is unknown."""
    place, command = _where(error, ctx)
    match error:
        case click.NoSuchOption():
            options = [name for each in command.params for name in each.opts if name[:2] == "--"]
            write = nearest(error.option_name, options, alike=_ALIKE) or f"one of those that {place} --help lists"
            fault = PlanError("there is no such option", found=error.option_name, write=write)
        case click.MissingParameter():
            fault = _missing(error, f"{place} {_arguments(command)}")
        case click.BadParameter(param=click.Parameter(type=click.Choice() as kind) as param):
            option, given = option_of(param), _given(error)
            near = nearest(given, [str(choice) for choice in kind.choices])
            write = f"{option} {near}" if near else instead(given, [str(choice) for choice in kind.choices])
            fault = PlanError(f"{option} has no such choice", found=quoted(given), write=write)
        case click.BadParameter(param=click.Parameter() as param) if isinstance(
            param.type, (click.types.IntParamType, click.types.FloatParamType)
        ):
            fault = _no_number(error, param)
        case click.BadOptionUsage():
            fault = _without_value(error, command)
        case _ if error.message.startswith("Got unexpected extra argument"):
            given = error.message.partition("(")[2].rstrip(".)")
            counted = re.search(r"(?:^| )(\d+) ([^\d ]\S*)", given)
            write = 'a name that has a space in quotes, as in "Up ore"'
            if counted:
                write = (
                    f'a train behind the route of the verb try, cars with their number, as "{counted[1]} {counted[2]}"'
                )
            fault = PlanError("more is given than the verb takes", found=given, write=write)
        case _:
            message = " ".join(error.format_message().split()).rstrip(".")
            return f"{place}: {message[:1].lower()}{message[1:]}"
    return str(fault.at(place=place))


def _where(error: click.UsageError, ctx: click.Context) -> tuple[str, click.Command]:
    """Return the verb whose line it is: a fault in reading its options does not know it."""
    if error.ctx is not None and error.ctx is not ctx:
        return error.ctx.command_path, error.ctx.command
    verb = ctx.invoked_subcommand
    command = ctx.command.get_command(ctx, verb) if verb and isinstance(ctx.command, click.Group) else None
    return (ctx.command_path, ctx.command) if command is None else (f"{ctx.command_path} {verb}", command)


def _given(error: click.UsageError) -> str:
    """Return what was given, which stands in the message of click alone."""
    found = re.match(r"'(.*)' is not|(\S+) is not", error.message, re.DOTALL)
    return "" if found is None else (found[1] or found[2] or "").removesuffix(".0")


def _arguments(command: click.Command) -> str:
    """Return all arguments that a verb needs, as they might be written."""
    names = [each.human_readable_name for each in command.params if isinstance(each, click.Argument) and each.required]
    return " ".join(_EXAMPLES.get(name, name) for name in names)


def _missing(error: click.MissingParameter, whole: str) -> PlanError:
    param = error.param
    if isinstance(param, click.Argument):
        return PlanError(f"{param.human_readable_name} is missing", write=whole)
    option = "an option" if param is None else min(param.opts, key=len)
    value = "a length" if param is not None and param.type.name == "length" else "the name of the file to write"
    return PlanError(f"{option} is missing", write=f"{option} with {value}")


def _no_number(error: click.BadParameter, param: click.Parameter) -> PlanError:
    kind, option = param.type, option_of(param)
    low, high = getattr(kind, "min", None), getattr(kind, "max", None)
    words = "a whole number" if isinstance(kind, click.types.IntParamType) else "a number"
    reach = "" if low is None or high is None else f" from {low:g} to {high:.10g}"
    example = _NUMBER if low is None or high is None else min(max(_NUMBER, low), high)
    return PlanError(f"{option} takes {words}{reach}", found=quoted(_given(error)), write=f"{option} {example:g}")


def _without_value(error: click.BadOptionUsage, command: click.Command) -> PlanError:
    option = error.option_name
    param = next((each for each in command.params if option in each.opts), None)
    if param is None or getattr(param, "is_flag", False):
        return PlanError(f"{option} takes no value", write=f"{option} alone")
    if param.nargs > 1:
        return PlanError(f"{option} takes {param.nargs} values", found="fewer", write=f"all {param.nargs} after it")
    what = "the name of a file" if isinstance(param.type, click.Path) else "a value"
    return PlanError(f"{option} takes {what}", found="nothing", write=f"{option} with {what} after it")
