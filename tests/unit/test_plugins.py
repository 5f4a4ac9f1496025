"""Finding, vetting and gathering plugins, with plugins written on the spot."""

from __future__ import annotations

from itertools import permutations
from pathlib import Path
from textwrap import dedent

import pytest
import wallquant_thinbed

from wallquant import __version__
from wallquant.plugins import PluginError, load

RULE = '''
from wallquant.hookspecs import hookimpl
from wallquant.rules import Rule

class Own(Rule):
    """The firm wants this."""

    code = "{code}"
    title = "Own rule"

@hookimpl
def wallquant_rules():
    return (Own,)
'''


def written(folder: Path, name: str, text: str) -> Path:
    file = folder / f"{name}.py"
    file.write_text(dedent(text), encoding="utf-8")
    return file


def installed(folder: Path, name: str, text: str, *, requires: str = "", point: str = "") -> None:
    """Lay out an installed distribution: a module, its metadata and its entry point."""
    written(folder, name, text)
    info = folder / f"{name}-1.0.dist-info"
    info.mkdir()
    needs = f"Requires-Dist: {requires}\n" if requires else ""
    (info / "METADATA").write_text(f"Metadata-Version: 2.1\nName: {name}\nVersion: 1.0\n{needs}", encoding="utf-8")
    (info / "entry_points.txt").write_text(f"[wallquant]\n{point or name} = {name}\n", encoding="utf-8")


def test_the_pack_comes_through_its_entry_point() -> None:
    found = load()
    assert "thinbed" in found.names
    assert found.owners["rule running_bond"] == "thinbed"
    assert list(found.rules) == sorted(found.rules)
    assert found.findings == ()


def test_wallquant_rules(tmp_path: Path) -> None:
    path = written(tmp_path, "firm", RULE.format(code="own_rule"))
    found = load([path])
    assert found.rules["own_rule"].title == "Own rule"
    assert found.owners["rule own_rule"] == str(path)


def test_wallquant_importers(tmp_path: Path) -> None:
    text = """
    from wallquant.hookspecs import hookimpl
    class Lines:
        suffixes = (".lines",)
        def read(self, path): ...
    @hookimpl
    def wallquant_importers():
        return {"lines": Lines()}
    """
    assert load([written(tmp_path, "firm", text)]).importers["lines"].suffixes == (".lines",)
    bad = written(tmp_path, "bad", text.replace('(".lines",)', '".lines"'))
    with pytest.raises(PluginError, match="importer 'lines' has no suffixes"):
        load([bad])


def test_wallquant_catalogues(tmp_path: Path) -> None:
    text = """
    from pathlib import Path
    from wallquant.hookspecs import hookimpl
    @hookimpl
    def wallquant_catalogues():
        return [Path(__file__).with_name("own.yaml")]
    """
    path = written(tmp_path, "firm", text)
    with pytest.raises(PluginError, match=r"own\.yaml is missing"):
        load([path])
    (tmp_path / "own.yaml").write_text("code: own\n", encoding="utf-8")
    assert load([path]).catalogues == (tmp_path / "own.yaml",)


@pytest.mark.parametrize("what", ["writers", "commands"])
def test_wallquant_writers_and_wallquant_commands(tmp_path: Path, what: str) -> None:
    text = f"""
    from wallquant.hookspecs import hookimpl
    @hookimpl
    def wallquant_{what}():
        return {{"own": print}}
    """
    found = load([written(tmp_path, "firm", text)])
    assert getattr(found, what)["own"] is print
    with pytest.raises(PluginError, match=f"{what[:-1]} 'own' cannot be called"):
        load([written(tmp_path, "bad", text.replace("print", "3"))])


def test_wallquant_commands_of_two_plugins_with_one_name(tmp_path: Path) -> None:
    text = "from wallquant.hookspecs import hookimpl\n@hookimpl\ndef wallquant_commands():\n    return {'own': print}\n"
    paths = [written(tmp_path, name, text) for name in ("a", "b")]
    with pytest.raises(PluginError, match=r"a\.py and .*b\.py both bring the command 'own'"):
        load(paths)


def test_wallquant_planned(tmp_path: Path) -> None:
    """Observers are called one by one, with the plan; a plugin that watches nothing has none."""
    text = """
    from wallquant.hookspecs import hookimpl
    seen = []
    @hookimpl
    def wallquant_planned(plan):
        plan.append("{name}")
    """
    paths = [written(tmp_path, name, text.format(name=name)) for name in ("b", "a")]
    observers = load([*paths, written(tmp_path, "c", RULE.format(code="own_rule"))]).observers
    assert len(observers) == 2
    plan: list[str] = []
    for observer in observers:
        observer(plan)
    assert plan == ["a", "b"]


def test_the_order_of_paths_never_matters(tmp_path: Path) -> None:
    paths = [written(tmp_path, name, RULE.format(code=f"rule_{name}")) for name in ("c", "a", "b")]
    first = load(paths)
    for order in permutations(paths):
        again = load(order)
        assert (again.names, list(again.rules), again.owners) == (first.names, list(first.rules), first.owners)


def test_two_rules_of_one_code_are_refused_and_both_plugins_named(tmp_path: Path) -> None:
    paths = [written(tmp_path, name, RULE.format(code="own_rule")) for name in ("a", "b")]
    for order in (paths, paths[::-1]):
        with pytest.raises(PluginError, match=r"a\.py and .*b\.py both bring the rule 'own_rule'"):
            load(order)
    clash = written(tmp_path, "c", RULE.format(code="running_bond"))
    with pytest.raises(PluginError, match=r"thinbed and .*c\.py both bring the rule 'running_bond'"):
        load([clash])


def test_of_plugins_that_take_a_code_all_but_the_pack_are_left_out_where_the_job_says_so(tmp_path: Path) -> None:
    thief = written(tmp_path, "thief", RULE.format(code="running_bond"))
    twice = written(tmp_path, "twice", RULE.format(code="own_rule").replace("(Own,)", "(Own, Own)"))
    one, two, three = (written(tmp_path, name, RULE.format(code="shared_code")) for name in ("one", "two", "three"))
    known = load()
    for paths in ([thief], [twice], [one, two], [two, thief, one, three]):
        found = load(paths, on_error="skip")
        assert found.rules == known.rules and found.names == known.names
        assert {f.code for f in found.findings} == {"plugin.skipped"}
        gone = " ".join(f.text.split("; the plan is made without ")[1] for f in found.findings)
        assert all(str(path) in gone for path in paths) and "thinbed" not in gone
        assert [f.text for f in load(paths[::-1], on_error="skip").findings] == [f.text for f in found.findings]


def test_one_plugin_with_a_rule_twice(tmp_path: Path) -> None:
    path = written(tmp_path, "a", RULE.format(code="own_rule").replace("(Own,)", "(Own, Own)"))
    with pytest.raises(PluginError, match="brings the rule 'own_rule' twice"):
        load([path])


def test_an_installed_plugin_and_what_it_requires(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Version ranges are those of PEP 440, read from the distribution's own Requires-Dist."""
    installed(tmp_path, "wqtest_fits", RULE.format(code="own_rule"), requires=f"wallquant>={__version__}", point="fits")
    installed(tmp_path, "wqtest_other", RULE.format(code="other_rule"), requires="wallquant>=99; extra == 'later'", point="other")
    monkeypatch.syspath_prepend(str(tmp_path))
    found = load()
    assert {"fits", "other", "thinbed"} <= set(found.names)
    installed(tmp_path, "wqtest_late", "raise RuntimeError('never imported')", requires="Wallquant >= 99", point="late")
    with pytest.raises(PluginError, match=rf"plugin late wants wallquant >=99, this is {__version__}"):
        load()
    skipped = load(on_error="skip")
    assert "late" not in skipped.names and "own_rule" in skipped.rules
    assert [f.code for f in skipped.findings] == ["plugin.skipped"]
    assert "plugin late" in skipped.findings[0].text


def test_two_installed_plugins_of_one_name(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    for name in ("wqtest_one", "wqtest_two"):
        installed(tmp_path, name, RULE.format(code=name), point="same")
    monkeypatch.syspath_prepend(str(tmp_path))
    with pytest.raises(PluginError, match="called 'same'"):
        load()


def test_a_file_says_what_it_requires(tmp_path: Path) -> None:
    late = written(tmp_path, "late", "WALLQUANT_REQUIRES = '>=99'\n")
    with pytest.raises(PluginError, match="wants wallquant >=99"):
        load([late])
    slip = written(tmp_path, "slip", "WALLQUANT_REQUIRES = 'new'\n")
    with pytest.raises(PluginError, match="no version range"):
        load([slip])
    hook = "from wallquant.hookspecs import hookimpl\n@hookimpl\ndef wallquant_rules(): return ()\n"
    assert load([written(tmp_path, "fits", "WALLQUANT_REQUIRES = '>=0'\n" + hook)]).findings == ()


@pytest.mark.parametrize(
    ("body", "said"),
    [
        ("import nothing_of_this_name", "does not load .ModuleNotFoundError"),
        ("def broken(:", "does not load .SyntaxError"),
        ("x = 1", "brings nothing: none of its functions is a hook"),
        ("from wallquant.rules import Rule\ndef wallquant_rules(): return ()", "brings nothing"),
        ("raise SystemExit(3)", "does not load .SystemExit"),
        ("from wallquant.hookspecs import hookimpl\n@hookimpl\ndef wallquant_rule(): return ()", "has a hook that wallquant does not"),
        ("from wallquant.hookspecs import hookimpl\n@hookimpl\ndef wallquant_rules(more): return ()", "has a hook that wallquant does not"),
        ("from wallquant.hookspecs import hookimpl\n@hookimpl\ndef wallquant_rules(): return 1 / 0", "ZeroDivisionError"),
        ("from wallquant.hookspecs import hookimpl\n@hookimpl\ndef wallquant_rules(): return ('bond',)", "a rule is a class"),
    ],
)
def test_a_plugin_that_fails_is_named_in_one_sentence(tmp_path: Path, body: str, said: str) -> None:
    path = written(tmp_path, "broken", body)
    with pytest.raises(PluginError, match=said) as caught:
        load([path])
    assert str(path) in str(caught.value)
    assert "\n" not in str(caught.value)
    skipped = load([path], on_error="skip")
    assert [f.severity for f in skipped.findings] == ["warning"]
    assert list(skipped.rules) == list(load().rules)


@pytest.mark.parametrize(
    ("old", "new", "said"),
    [
        ('"own_rule"', '"Own Rule"', "small letters"),
        ('title = "Own rule"', 'title = ""', "no title"),
        ('"""The firm wants this."""', "", "no docstring"),
        ("Own,", "Own(),", "gives an instance of Own as a rule"),
        ("class Own", "from wallquant.findings import Source\nSource(basis='gossip')\n\nclass Own", "basis is one of read, .*'gossip'"),
        ('title = "Own rule"', 'title = "x"\n    presets = {"p": {"none": 1}}', "no parameter 'none'"),
    ],
)
def test_a_rule_is_vetted(tmp_path: Path, old: str, new: str, said: str) -> None:
    text = RULE.format(code="own_rule")
    assert old in text
    with pytest.raises(PluginError, match=said):
        load([written(tmp_path, "firm", text.replace(old, new))])


def test_a_folder_is_a_package_that_can_import_itself(tmp_path: Path) -> None:
    folder = tmp_path / "wqtest_package"
    folder.mkdir()
    (folder / "inner.py").write_text(RULE.format(code="inner_rule"), encoding="utf-8")
    (folder / "__init__.py").write_text("from .inner import wallquant_rules\nimport wqtest_package.inner\n", encoding="utf-8")
    assert "inner_rule" in load([folder]).rules
    assert "inner_rule" in load([folder]).rules, "again, from the same place"
    twin = tmp_path / "elsewhere" / "wqtest_package"
    twin.mkdir(parents=True)
    (twin / "__init__.py").write_text("", encoding="utf-8")
    with pytest.raises(PluginError, match="already loaded from elsewhere"):
        load([twin])


def test_a_path_that_is_no_plugin(tmp_path: Path) -> None:
    (tmp_path / "notes.txt").write_text("", encoding="utf-8")
    for path, said in (
        (tmp_path / "none.py", "no file or folder"),
        (tmp_path, "without __init__"),
        (tmp_path / "notes.txt", "no Python file"),
    ):
        with pytest.raises(PluginError, match=said):
            load([path])


def test_a_plugin_named_twice_by_path_is_one(tmp_path: Path) -> None:
    path = written(tmp_path, "firm", RULE.format(code="own_rule"))
    assert "own_rule" in load([path, path]).rules
    with pytest.raises(PluginError, match="twice"):
        load([Path(wallquant_thinbed.__file__).parent])
