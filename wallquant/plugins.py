"""Find plugins, vet them, and gather what they bring.

Installed plugins come through the entry-point group ``wallquant``, others only where a path names them.  What is gathered is
sorted by name, so that the order in which plugins are found never matters; what two plugins both claim is refused.
"""

from __future__ import annotations

import sys
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from hashlib import sha256
from importlib.metadata import Distribution, EntryPoint, entry_points
from importlib.util import module_from_spec, spec_from_file_location
from itertools import pairwise
from pathlib import Path
from re import fullmatch
from types import ModuleType
from typing import Any, Literal

import pluggy
from packaging.requirements import InvalidRequirement, Requirement
from packaging.specifiers import InvalidSpecifier, SpecifierSet

from wallquant import __version__, hookspecs
from wallquant.findings import Finding
from wallquant.hookspecs import PROJECT
from wallquant.rules import ParamError, Rule, configured, infos

PACK = "thinbed"
"""The entry point of the first pack, which comes with wallquant: a plugin that takes one of its names is the one that goes."""
REQUIRES = "WALLQUANT_REQUIRES"
"""Name of the variable with which a plugin that is only a file says what it needs: ``">=0.1,<0.2"``."""


class PluginError(ValueError):
    """A plugin cannot be used; one sentence names it and says what to do."""


class _Clash(PluginError):
    """Two plugins, or one twice, bring what only one can."""

    def __init__(self, text: str, names: frozenset[str]) -> None:
        super().__init__(text)
        self.names = names


@dataclass(frozen=True, kw_only=True, slots=True)
class Plugins:
    """What all plugins bring, sorted by name.

    Attributes
    ----------
    names : tuple of str
        The plugins: the names of their entry points, and the paths of the others.
    rules : mapping of str to rule class
        By code.
    importers, writers, commands : mapping
        By name.
    catalogues : tuple of Path
        Catalogue files.
    observers : tuple of callable
        One a plugin that watches; call each with the finished plan.  What a plugin raises becomes a `PluginError`.
    owners : mapping of str to str
        ``rule bond``, ``writer xlsx`` and so on to the plugin that brings it.
    findings : tuple of Finding
        Plugins that were skipped.
    """

    names: tuple[str, ...]
    rules: Mapping[str, type[Rule]]
    importers: Mapping[str, Any]
    catalogues: tuple[Path, ...]
    writers: Mapping[str, Any]
    commands: Mapping[str, Any]
    observers: tuple[Callable[[Any], None], ...]
    owners: Mapping[str, str]
    findings: tuple[Finding, ...] = ()


@dataclass(frozen=True, kw_only=True, slots=True)
class _Found:
    """A plugin before it is loaded: its name, how to import it, and what it requires of wallquant."""

    name: str
    load: Callable[[], Any]
    requires: tuple[SpecifierSet, ...] = ()


def load(paths: Sequence[Path] = (), *, on_error: Literal["stop", "skip"] = "stop") -> Plugins:
    """Load all installed plugins and those at `paths`.

    Parameters
    ----------
    paths : sequence of Path
        Python files, or folders that are packages.
    on_error : str
        ``stop`` raises; ``skip`` leaves out a plugin that does not load, with a finding, and of plugins that bring a rule, importer,
        writer or command of one name all but the first pack, because none of them can be preferred.

    Raises
    ------
    PluginError
        For a plugin that does not load, or two that bring one name (with `stop`); and always for two installed ones of one name.
    """
    manager = pluggy.PluginManager(PROJECT)
    manager.add_hookspecs(hookspecs)
    brought: dict[str, _Brought] = {}
    findings = []
    for name, found in [(p.name, p) for p in _installed()] + [(str(path), path) for path in sorted(set(paths))]:
        try:
            brought[name] = _register(manager, found if isinstance(found, _Found) else _at(found))
        except PluginError as error:
            if on_error == "stop":
                raise
            findings.append(_skipped(error))
    while True:
        try:
            return _gathered(brought, tuple(findings))
        except _Clash as error:
            gone = sorted(error.names - {PACK})
            if on_error == "stop" or not gone:
                raise
            findings.append(_skipped(error, *gone))
            brought = {name: one for name, one in brought.items() if name not in gone}


def _skipped(error: PluginError, *names: str) -> Finding:
    text = f"{error}; the plan is made without {' and '.join(names) if names else 'it'}"
    return Finding(code="plugin.skipped", severity="warning", text=text)


def _installed() -> list[_Found]:
    points = sorted(entry_points(group=PROJECT), key=lambda p: (p.name, p.value))
    for one, two in pairwise(points):
        if one.name == two.name:
            both = " and ".join(str(p.dist.name) if p.dist else p.value for p in (one, two))
            raise PluginError(f"two installed plugins are called '{one.name}' ({both}); uninstall one of them")
    return [_Found(name=p.name, load=p.load, requires=_needs(p)) for p in points]


def _needs(point: EntryPoint) -> tuple[SpecifierSet, ...]:
    """What the plugin's own distribution says of wallquant; a line that nobody can read says nothing of it."""
    dist: Distribution | None = point.dist
    out = []
    for line in (dist.requires or []) if dist else []:
        try:
            one = Requirement(line)
        except InvalidRequirement:
            continue
        if one.name.lower() == PROJECT and (one.marker is None or one.marker.evaluate({"extra": ""})):
            out.append(one.specifier)
    return tuple(out)


def _at(path: Path) -> _Found:
    """Return the plugin in a file or a package's folder; a package is imported by its own name, so that it can import itself."""
    file = path / "__init__.py" if path.is_dir() else path
    if not file.is_file():
        what = "is a folder without __init__.py; name the package's folder or a Python file" if path.is_dir() else "is no file or folder"
        raise PluginError(f"plugin {path} {what}")
    if file.suffix != ".py":
        raise PluginError(f"plugin {path} is no Python file; name a file that ends in .py, or a package's folder")
    full = file.resolve()
    digest = sha256(str(full).encode()).hexdigest()[:8]
    name = full.parent.name if path.is_dir() else f"wallquant_plugin_{file.stem}_{digest}"

    def imported() -> ModuleType:
        known = sys.modules.get(name)
        if known is not None:
            if Path(getattr(known, "__file__", None) or "").resolve() != full:
                raise ImportError(f"a module named {name} is already loaded from elsewhere; give the folder another name")
            return known
        spec = spec_from_file_location(name, full, submodule_search_locations=[str(full.parent)] if path.is_dir() else None)
        if spec is None or spec.loader is None:
            raise ImportError("Python cannot import it")
        module = sys.modules[name] = module_from_spec(spec)
        try:
            spec.loader.exec_module(module)
        except BaseException:
            del sys.modules[name]
            raise
        return module

    return _Found(name=str(path), load=imported)


@dataclass(frozen=True, kw_only=True, slots=True)
class _Brought:
    """What one plugin brings."""

    rules: tuple[type[Rule], ...]
    importers: Mapping[str, Any]
    catalogues: tuple[Path, ...]
    writers: Mapping[str, Any]
    commands: Mapping[str, Any]
    observer: Callable[[Any], None] | None


def _register(manager: pluggy.PluginManager, found: _Found) -> _Brought:
    """Vet a plugin, load and register it, and ask what it brings."""
    for need in found.requires:
        _compatible(found.name, need)
    try:
        plugin = found.load()
    except (Exception, SystemExit) as error:
        raise PluginError(f"plugin {found.name} does not load ({_said(error)}); repair or remove it") from error
    if hasattr(plugin, REQUIRES):
        try:
            need = SpecifierSet(str(getattr(plugin, REQUIRES)))
        except InvalidSpecifier as error:
            raise PluginError(f"plugin {found.name}: {REQUIRES} is no version range; write one like '>=0.1,<0.2'") from error
        _compatible(found.name, need)
    try:
        manager.register(plugin, name=found.name)
        manager.check_pending()
    except (pluggy.PluginValidationError, ValueError) as error:
        if manager.get_plugin(found.name) is not None:
            manager.unregister(name=found.name)
        if isinstance(error, pluggy.PluginValidationError):
            raise PluginError(f"plugin {found.name} has a hook that wallquant does not ({_said(error)}); see hookspecs.py") from error
        raise PluginError(f"plugin {found.name} is loaded twice, once as an installed plugin; name it once") from error
    try:
        return _brings(manager, found.name, plugin)
    except PluginError:
        manager.unregister(name=found.name)
        raise
    except Exception as error:
        manager.unregister(name=found.name)
        raise PluginError(f"plugin {found.name} fails when asked what it brings ({_said(error)}); repair or remove it") from error


def _said(error: BaseException) -> str:
    """An exception's kind and text on one line."""
    return f"{type(error).__name__}: {' '.join(str(error).split())}".rstrip(": ")


def _compatible(name: str, need: SpecifierSet) -> None:
    if not need.contains(__version__, prereleases=True):
        raise PluginError(f"plugin {name} wants wallquant {need}, this is {__version__}; install a version of it that fits")


def _brings(manager: pluggy.PluginManager, name: str, plugin: object) -> _Brought:
    if not manager.get_hookcallers(plugin):
        own = sorted(k for k, v in getattr(plugin, "__dict__", {}).items() if isinstance(v, type) and issubclass(v, Rule) and v is not Rule)
        what = f"return {', '.join(own)} from a function wallquant_rules" if own else "write a function, like wallquant_rules"
        raise PluginError(f"plugin {name} brings nothing: none of its functions is a hook; {what}, and mark it with @hookimpl")
    others = [p for p in manager.get_plugins() if p is not plugin]

    def asked(hook: str) -> list[Any]:
        return list(manager.subset_hook_caller(hook, others)())

    rules = tuple(rule for several in asked("wallquant_rules") for rule in several)
    for rule in rules:
        _vet(name, rule)
    importers, writers, commands = ({k: v for one in asked(f"wallquant_{what}") for k, v in one.items()} for what in _NAMED)
    for key, importer in sorted(importers.items()):
        if not (isinstance(getattr(importer, "suffixes", None), tuple) and callable(getattr(importer, "read", None))):
            raise PluginError(f"plugin {name}: importer '{key}' has no suffixes (a tuple) or no read(path)")
    for what, several in (("writer", writers), ("command", commands)):
        for key, one in sorted(several.items()):
            if not callable(one):
                raise PluginError(f"plugin {name}: {what} '{key}' cannot be called")
    catalogues = tuple(Path(path) for several in asked("wallquant_catalogues") for path in several)
    for path in catalogues:
        if not path.is_file():
            raise PluginError(f"plugin {name}: its catalogue {path.name} is missing; install the plugin again")
    return _Brought(
        rules=rules,
        importers=importers,
        catalogues=catalogues,
        writers=writers,
        commands=commands,
        observer=_observer(manager, name),
    )


def _observer(manager: pluggy.PluginManager, name: str) -> Callable[[Any], None] | None:
    """Return the one plugin's observer; a later plugin's is not called by it."""
    mine = [impl for impl in manager.hook.wallquant_planned.get_hookimpls() if impl.plugin_name == name]
    if not mine:
        return None

    def observer(plan: Any) -> None:
        try:
            for impl in mine:
                impl.function(*([plan] if "plan" in impl.argnames else []))
        except Exception as error:
            raise PluginError(f"plugin {name} fails when it is shown the plan ({_said(error)}); repair or remove it") from error

    return observer


_NAMED = ("importers", "writers", "commands")


def _vet(name: str, rule: Any) -> None:
    """Refuse what is no rule, or has no code, title, sentence, declared parameters or working presets."""
    if not (isinstance(rule, type) and issubclass(rule, Rule)):
        given = f"an instance of {type(rule).__name__}" if not isinstance(rule, type) else repr(rule)
        raise PluginError(f"plugin {name} gives {given} as a rule; a rule is a class made from wallquant.rules.Rule")
    if not fullmatch(r"[a-z][a-z0-9_]*", rule.code):
        raise PluginError(f"plugin {name}: rule class {rule.__name__} has the code '{rule.code}'; write small letters, digits and _")
    if not (rule.title and rule.__doc__ and rule.__doc__.strip()):
        raise PluginError(f"plugin {name}: rule {rule.code} has no title or no docstring")
    try:
        infos(rule)
        for preset in sorted(rule.presets):
            configured(rule, {"preset": preset})
    except ParamError as error:
        raise PluginError(f"plugin {name}: {error}") from error


def _gathered(brought: Mapping[str, _Brought], findings: tuple[Finding, ...]) -> Plugins:
    owners: dict[str, str] = {}

    def once(what: str, items: Callable[[_Brought], Iterator[tuple[str, Any]]]) -> dict[str, Any]:
        out: dict[str, Any] = {}
        for name, one in brought.items():
            for key, value in items(one):
                owner = owners.setdefault(f"{what} {key}", name)
                if key in out:
                    again = f"plugin {name} brings the {what} '{key}' twice" if owner == name else ""
                    said = again or f"plugins {owner} and {name} both bring the {what} '{key}'; leave one of them out"
                    raise _Clash(said, frozenset(n for n, several in brought.items() if any(k == key for k, _ in items(several))))
                out[key] = value
        return dict(sorted(out.items()))

    return Plugins(
        names=tuple(sorted(brought)),
        rules=once("rule", lambda one: ((rule.code, rule) for rule in one.rules)),
        importers=once("importer", lambda one: iter(one.importers.items())),
        catalogues=tuple(once("catalogue", lambda one: ((path.stem, path) for path in one.catalogues)).values()),
        writers=once("writer", lambda one: iter(one.writers.items())),
        commands=once("command", lambda one: iter(one.commands.items())),
        observers=tuple(watcher for _, one in sorted(brought.items()) if (watcher := one.observer) is not None),
        owners=dict(sorted(owners.items())),
        findings=tuple(sorted(findings, key=lambda f: f.text)),
    )
