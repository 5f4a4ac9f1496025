"""wallquant rules: the rules that are installed, and the page of one."""

from __future__ import annotations

from inspect import cleandoc
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from wallquant.cli import Sentence

if TYPE_CHECKING:
    from wallquant.rules import ParamInfo, Rule


@click.command(name="rules")
@click.argument("code", required=False)
@click.option("--plugin", "plugin_paths", multiple=True, metavar="PATH", help="Load a plugin from a file or folder; may be repeated.")
def command(code: str | None, plugin_paths: tuple[str, ...]) -> None:
    """List the rules, or print the page of the rule CODE: what it asks, why, parameters with units, bounds and sources."""
    from wallquant import plugins
    from wallquant.strictyaml import near

    rules = plugins.load([Path(p) for p in plugin_paths]).rules
    if code is None:
        width = max((len(c) for c in rules), default=0)
        for name, rule in sorted(rules.items()):
            click.echo(f"{name:<{width}}  {rule.title}\n{'':<{width}}  {cleandoc(rule.__doc__ or rule.title).splitlines()[0]}")
        return
    if code not in rules:
        raise Sentence(f"no rule has the code '{code}'{near(code, rules)}")
    for line in _page(rules[code]):
        click.echo(line)


def _page(rule: type[Rule]) -> list[str]:
    from wallquant.rules import infos

    lines = [f"{rule.code}: {rule.title}", "", cleandoc(rule.__doc__ or ""), ""]
    known = infos(rule)
    lines.append("Parameters" if known else "It has no parameters.")
    for key, (info, default) in known.items():
        lines.append(f"  {key} = {_value(default, info)}")
        lines.append(f"      {info.text}{_bounds(info)}")
        lines.append(f"      Source: {info.source}")
    for name, values in sorted(rule.presets.items()):
        said = ", ".join(f"{k} = {_value(v, known[k][0])}" for k, v in values.items())
        lines.append(f"  preset {name}: {said}")
    return lines


def _value(value: Any, info: ParamInfo) -> str:
    from wallquant.units import INCH, inch_text, mm_text

    if info.kind != "length":
        return f"{value} {info.unit}".strip()
    inch = f" ({inch_text(value, finest=64)})" if value * 64 % INCH == 0 and value else ""
    return f"{mm_text(value)} mm{inch}"


def _bounds(info: ParamInfo) -> str:
    parts = []
    if info.choices:
        parts.append("one of " + ", ".join(info.choices))
    if info.least is not None:
        parts.append(f"at least {_value(round(info.least) if info.kind == 'length' else info.least, info)}")
    if info.most is not None:
        parts.append(f"at most {_value(round(info.most) if info.kind == 'length' else info.most, info)}")
    return f" ({'; '.join(parts)})" if parts else ""
