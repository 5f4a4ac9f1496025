"""The command line: one file a command; heavy imports happen inside them."""

from __future__ import annotations

import gc
import io
import os
import sys
import tempfile
import traceback
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from copy import copy
from datetime import datetime
from errno import ENOSPC
from importlib import import_module
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from wallquant import __version__

if TYPE_CHECKING:
    from wallquant.findings import Finding
    from wallquant.plugins import Plugins

COMMANDS = ("plan", "check", "fit", "audit", "compare", "survey", "batch", "rules", "catalogues", "job")
"""In the order in which people need them; module `wallquant.cli.NAME` has the command as `command`."""

DONE, FOUND, INPUT, FAULT, INTERRUPTED = 0, 1, 2, 3, 130

SELDOM = (500_000, 20, 20)
"""When Python looks for objects that hold one another: a plan of 100,000 pieces makes millions that live to its end and hold no
circle, and at the usual (700, 10, 10) a quarter of its time is spent looking through them."""

SENTENCES = (
    ("importers", "InputError"),
    ("plugins", "PluginError"),
    ("rules", "ParamError"),
    ("rules", "RuleError"),
    ("strictyaml", "YamlError"),
    ("survey.shots", "SurveyError"),
    ("writers.folder", "OutputError"),
)
"""Errors that are one sentence about what was given to us: module and class.  What is not loaded cannot have been raised."""


class Group(click.Group):
    """Loads a command when it is asked for, those of plugins too; turns every error into one sentence and an exit code."""

    def list_commands(self, ctx: click.Context) -> list[str]:
        """Return our commands, then those that plugins add."""
        return [*COMMANDS, *sorted(_added())]

    def get_command(self, ctx: click.Context, name: str) -> click.Command | None:
        """Return a command by its name."""
        if name in COMMANDS:
            found: click.Command = import_module(f"wallquant.cli.{name}").command
            return found
        return _theirs(name, _added().get(name))

    def invoke(self, ctx: click.Context) -> Any:
        """Run a command; what click would tell in its own words passes on to `main`."""
        try:
            return super().invoke(ctx)
        except KeyboardInterrupt as error:
            raise click.Abort from error
        except BrokenPipeError:
            return _read_enough()

    def main(self, args: Sequence[str] | None = None, prog_name: str | None = None, **extra: Any) -> Any:  # type: ignore[override]
        """Run, and end with the exit codes of the design: 0 done, 1 findings, 2 input, 3 our fault, 130 interrupted."""
        extra.pop("standalone_mode", None)
        for stream in (sys.stdout, sys.stderr):
            if isinstance(stream, io.TextIOWrapper):
                stream.reconfigure(errors="backslashreplace")  # a name that the screen cannot show is no reason to stop

        def run() -> Any:
            for word in sys.argv[1:] if args is None else args:
                _vet_word(word)
            return super(Group, self).main(args=args, prog_name=prog_name or "wallquant", standalone_mode=False, **extra)

        before = gc.get_threshold()
        gc.set_threshold(*SELDOM)
        try:
            code = _guarded(run)
        finally:
            gc.set_threshold(*before)
        sys.exit(code)


def _vet_word(word: str) -> None:
    try:
        word.encode()
    except UnicodeEncodeError as error:
        raise Sentence(f"'{word}' is not written in UTF-8; rename the file or folder") from error


def _theirs(name: str, command: click.Command | None) -> click.Command | None:
    """Return a plugin's command; what it raises becomes one sentence that names the plugin."""
    if command is None:
        return None
    from wallquant import plugins

    who, invoke, guarded = plugins.load().owners[f"command {name}"], command.invoke, copy(command)

    def run(ctx: click.Context) -> Any:
        try:
            return invoke(ctx)
        except (click.ClickException, click.exceptions.Exit, click.Abort):
            raise
        except Exception as error:
            if _is_input(error):
                raise
            said = " ".join(f"{type(error).__name__}: {error}".split())
            raise Sentence(f"command {name} of plugin {who} failed ({said}); repair the plugin") from error

    guarded.invoke = run  # type: ignore[method-assign]
    return guarded


def _added() -> Mapping[str, click.Command]:
    from wallquant import plugins

    return vetted(plugins.load()).commands


def vetted(found: Plugins) -> Plugins:
    """Return the plugins if their commands only add to ours.

    Raises
    ------
    Sentence
        If a command has a name of ours, or is no click command.
    """
    for name, command in found.commands.items():
        who = found.owners.get(f"command {name}", "")
        if name in COMMANDS:
            raise Sentence(f"plugin {who} brings a command '{name}', a name that wallquant has; rename it or uninstall the plugin")
        if not isinstance(command, click.Command):
            raise Sentence(f"plugin {who}: its command '{name}' is no click command; repair or uninstall the plugin")
    return found


def _guarded(run: Callable[[], Any]) -> int:
    try:
        result = run()
        if sys.stdout is not None:
            sys.stdout.flush()
        return int(result) if isinstance(result, int) else DONE
    except click.exceptions.Exit as end:
        return int(end.exit_code)
    except (KeyboardInterrupt, click.Abort):
        if sys.stderr is not None and sys.stderr.isatty():
            click.echo(err=True)  # the terminal's line begins with ^C
        _say("interrupted")
        return INTERRUPTED
    except BrokenPipeError:
        return _read_enough()
    except Exception as error:
        code, sentence = verdict(error)
        _say(sentence)
        if isinstance(error, OSError) and error.errno == ENOSPC:
            _read_enough()
        return code


def verdict(error: Exception) -> tuple[int, str]:
    """Return the exit code of an error and its sentence; a fault of ours leaves a file to send us."""
    if isinstance(error, click.UsageError):
        where = error.ctx.command_path if error.ctx else "wallquant"
        return INPUT, f"{error.format_message().rstrip('.')}; '{where} --help' shows how it is called"
    if isinstance(error, click.ClickException):
        return INPUT, error.format_message()
    if isinstance(error, OSError) and error.errno == ENOSPC:
        return INPUT, f"there is no room left to write ({error.filename or 'the results'}); make room, and run it again"
    if _is_input(error):
        return INPUT, str(error)
    return FAULT, f"a fault of wallquant itself ({type(error).__name__}); please send us the file {_fault_file()}"


def _read_enough() -> int:
    """Whoever read our output has seen enough: nothing is left to flush when Python ends."""
    os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
    return DONE


def _is_input(error: Exception) -> bool:
    """Say whether an error is a sentence about what was given to us."""
    loaded = ((sys.modules.get(f"wallquant.{module}"), name) for module, name in SENTENCES)
    return isinstance(error, Sentence) or any(isinstance(error, getattr(module, name, ())) for module, name in loaded)


class Sentence(ValueError):
    """One sentence about what was given on the command line or in a file."""


def told(run: Callable[[], Any]) -> Any:
    """Run what raises ValueError with one sentence about its input (job, catalogue), and pass that sentence on."""
    try:
        return run()
    except ValueError as error:
        if _is_input(error):
            raise
        raise Sentence(str(error)) from error


def _say(sentence: str) -> None:
    line = " ".join(sentence.split())
    click.echo(f"wallquant: {line}", err=True)


def _fault_file() -> Path:
    name = f"wallquant-fault-{datetime.now():%Y%m%d-%H%M%S}.txt"
    text = f"wallquant {__version__}, Python {sys.version}\n{' '.join(sys.argv)}\n\n{traceback.format_exc()}"
    for folder in (os.getcwd, tempfile.gettempdir):
        try:
            file = Path(folder()) / name
            file.write_text(text, encoding="utf-8", errors="backslashreplace")
            return file
        except OSError:
            continue
    return Path(name)


PLACES = 5
"""So many more places of one cause are named on a screen."""


@click.group(cls=Group, no_args_is_help=False, context_settings={"help_option_names": ["-h", "--help"]})
@click.version_option(__version__, prog_name="wallquant", message="%(prog)s %(version)s")
def main() -> None:
    """Block-by-block layouts, corner-first laying sequences and material schedules from open IFC wall models.

    Layout only, no structural design: local codes and licensed practice come first.
    """


def counted(number: int, word: str) -> str:
    """Return a number with its word in the singular or plural: ``1 wall``, ``2 walls``."""
    return f"{number:,} {word}{'' if number == 1 else 's'}"


def told_by_cause(findings: Iterable[Finding]) -> list[str]:
    """Return one line a cause: the first of its findings, and at how many more places the same is found, some of them by name."""
    from wallquant.findings import by_cause

    lines = []
    for first, *others in by_cause(findings):
        spots = (("corner", one.place.corner) if one.place.corner else ("run", one.place.run) for one in others)
        named = list(dict.fromkeys(f"{what} {name}" for what, name in spots if name))
        rest = [f"{len(named) - PLACES} more"] if len(named) > PLACES else []
        where = f" ({', '.join([*named[:PLACES], *rest])})" if named else ""
        more = f" The same at {counted(len(others), 'more place')}{where}." if others else ""
        lines.append(f"  {first.severity}: {first.text}{more}")
    return lines


def wrapped(items: Sequence[str], most: int) -> Iterator[str]:
    """Yield the first items, and how many more there are."""
    yield from items[:most]
    if len(items) > most:
        yield f"... and {len(items) - most} more"
