"""House rules that a linter does not know: the arrows between rooms, what an import loads, sizes."""

import ast
import importlib.util
import re
import subprocess
import sys
import tomllib
from functools import cache
from pathlib import Path

import pytest

import agree

ROOT = Path(agree.__file__).parent
MODULES = sorted(ROOT.rglob("*.py"))
CHECKOUT = Path(__file__).resolve().parent.parent  # the package under test may be an installed copy
# Room -> rooms it may import from, its own included: the way of the data, one direction.
CORE = {"core"}
VERDICT = CORE | {"estimators", "verdict"}
ARROWS = {
    "core": CORE,
    "files": CORE | {"files"},
    "recordings": CORE | {"files", "recordings"},
    "faults": CORE | {"faults", "estimators"},
    "pairing": CORE | {"files", "recordings", "faults", "pairing"},
    "estimators": CORE | {"estimators"},
    "verdict": VERDICT,
    "correction": VERDICT | {"files", "recordings", "correction"},
    "diagnosis": VERDICT | {"faults", "correction", "diagnosis"},
    "assessment": VERDICT | {"correction", "diagnosis", "assessment"},
    "physics": VERDICT | {"physics"},
    "planning": VERDICT | {"assessment", "planning"},
    "report": VERDICT | {"files", "recordings", "correction", "devices", "diagnosis", "assessment", "physics",
                         "planning", "quantities", "report", "study", "trail", "trials"},
    "quantities": VERDICT | {"files", "recordings", "quantities"},
    "trials": VERDICT | {"files", "trials"},
    "devices": CORE | {"recordings", "estimators", "pairing", "devices"},
    "trail": VERDICT | {"assessment", "devices", "trail"},
    "study": VERDICT | {"files", "recordings", "pairing", "assessment", "quantities", "trials", "study"},
    "demo": CORE | {"files", "demo"},
}
# Library -> rooms that may import it.
LIBRARIES = {"pandas": {"files", "recordings"}, "narwhals": {"files"}, "fitdecode": {"files"},
             "pyarrow": {"files", "study"},
             "defusedxml": {"files"}, "matplotlib": {"report"}, "rich": {"cli"}, "click": {"cli"},
             "statsmodels": {"estimators", "verdict"}, "pingouin": set()}

# Results whose examples are in the functions that return them.
RESULTS = {"LimitsOfAgreement", "Band", "BandBias", "ClaimCheck", "Correction", "Alignment", "Concordance",
           "FileLook", "Intraclass", "DeviationIndex", "CoverageProbability", "TypicalError", "Precision", "TrialPlan",
           "TrialsCheck", "QuantityCheck", "Channel", "Gap", "Oddity"}


@cache
def parsed(path):
    """The tree of a module."""
    return ast.parse(path.read_text(encoding="utf-8"))


def of_each_module(check):
    """Make one test of a check of one module: a test for each takes longer to report than to run."""
    def test():
        failed = []
        for path in MODULES:
            try:
                check(path)
            except AssertionError as error:
                failed.append(f"{path.relative_to(ROOT)}: {error}")
        assert not failed, "\n".join(failed)
    return test


def room(path):
    first = path.relative_to(ROOT).parts[0]
    return first.removesuffix(".py")


def imports(path):
    """Absolute names imported anywhere in a module, type-checking blocks left out."""
    tree = parsed(path)
    nodes = [*ast.walk(tree)]
    blocks = [node for node in nodes if isinstance(node, ast.If) and "TYPE_CHECKING" in ast.unparse(node.test)]
    skip = {id(node) for block in blocks for node in ast.walk(block)}
    for node in nodes:
        if id(node) in skip:
            continue
        if isinstance(node, ast.Import):
            yield from (alias.name for alias in node.names)
        elif isinstance(node, ast.ImportFrom):
            assert node.level == 0, f"{path}: relative import"
            # `from agree import _check` names a module, `from agree.core.errors import X` a name
            yield from (f"agree.{alias.name}" for alias in node.names) if node.module == "agree" else [node.module]


@of_each_module
def test_arrows(path):
    here = room(path)
    for name in imports(path):
        top, *rest = name.split(".")
        if top in LIBRARIES:
            assert here in LIBRARIES[top], f"{here} imports {name}"
        assert not (name.startswith("scipy.stats") and here in {"core", "estimators", "verdict"}), name
        if top == "agree" and rest and here in ARROWS and rest[0] != "__version__":
            assert rest[0] in ARROWS[here], f"{here} imports {name}"


# Modules that may load another by its name: the public names, loaded on first use, and the seam to the report.
LOADERS = {"__init__.py", "core/results/seam.py"}


@of_each_module
def test_modules_are_loaded_by_name_at_one_seam_only(path):
    named = [node for node in ast.walk(parsed(path))
             if (isinstance(node, ast.Name) and node.id in {"importlib", "__import__", "import_module"})
             or (isinstance(node, ast.alias) and node.name.split(".")[0] == "importlib")]
    assert bool(named) == (str(path.relative_to(ROOT)) in LOADERS)


@of_each_module
def test_sizes(path):
    text = path.read_text(encoding="utf-8")
    assert text.count("\n") <= 300
    for node in ast.walk(parsed(path)):
        if isinstance(node, ast.FunctionDef):
            body = node.body[1:] if ast.get_docstring(node) else node.body
            lines = body[-1].end_lineno - body[0].lineno + 1 if body else 0
            assert lines <= 60, f"{node.name} has {lines} lines"


def loaded_by(code):
    code += ("\nimport sys; names = {name.split('.')[0] for name in sys.modules}"
             "\nprint(' '.join(sorted(names | {'scipy.stats'} & set(sys.modules))))")
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    return set(done.stdout.split())


def test_import_is_light():
    heavy = {"pandas", "matplotlib", "scipy.stats", "statsmodels", "pingouin"}
    assert not heavy & loaded_by("import agree")
    assert not heavy & loaded_by("import agree; agree.limits_of_agreement; agree.deming; agree.passing_bablok; "
                                 "agree.bias_by_band; agree.check_claim; agree.Estimate")
    assert "matplotlib" in loaded_by("import agree.report.page.compose")  # the test can see what it looks for


def test_help_is_light():
    assert not {"numpy", "scipy", "rich"} & loaded_by(
        "import agree.cli.main as cli\ntry: cli.command.main(['check', '--help'])\nexcept SystemExit: pass")


def test_public_names():
    assert set(agree.__all__) == set(dir(agree))
    for name in agree.__all__:
        value = getattr(agree, name)
        if callable(value) and not (isinstance(value, type) and issubclass(value, Exception | Warning | tuple)):
            assert value.__doc__, name
            assert ">>>" in value.__doc__ or name in RESULTS, f"{name} has no example"
    with pytest.raises(AttributeError, match=r"^module 'agree' has no attribute 'nothing'$"):
        agree.nothing  # noqa: B018


def test_nothing_stale_at_the_top():
    names = {path.name for path in CHECKOUT.iterdir() if not path.name.startswith(".")}
    assert names - {"agree-demo"} <= {"README.md", "DEVELOPERS.md", "pyproject.toml", "LICENSE", "agree", "tests",
                                      "benchmarks", "docs"}


def test_the_lowest_versions_tested_are_those_declared():
    project = tomllib.loads((CHECKOUT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    extras = project["optional-dependencies"]
    wanted = " ".join([*project["dependencies"], *extras["fit"], *extras["parquet"]])
    declared = dict(re.findall(r"([\w-]+)>=([\d.]+)", wanted))
    lines = (CHECKOUT / ".ci" / "lowest.txt").read_text(encoding="utf-8").splitlines()
    tested = dict(line.split("==") for line in lines if "==" in line)
    tested.pop("polars")  # of the tests, not of the package
    for name, version in declared.items():
        assert (tested.pop(name, "none") + ".0.0").startswith(version), f"{name}>={version} is declared"
    assert not tested


@cache
def import_graph():
    """The program that draws the graph, and the graph."""
    spec = importlib.util.spec_from_file_location("import_graph", CHECKOUT / "docs" / "import_graph.py")
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module, module.module_graph()


def test_no_circle_between_modules_nor_between_rooms():
    graph, modules = import_graph()
    assert len(modules) > 200
    assert graph.circle(modules) == []
    assert graph.circle(graph.room_graph(modules)) == []
    assert graph.circle({"a": {"b"}, "b": {"c"}, "c": {"a"}})  # it sees one where there is one


def test_contributors_see_the_graph_as_it_is():
    graph, modules = import_graph()
    block = graph.BLOCK.search((CHECKOUT / "DEVELOPERS.md").read_text(encoding="utf-8"))
    assert block[0] == graph.mermaid(graph.room_graph(modules))


def test_folders_can_be_taken_in_at_a_glance():
    for folder in {path.parent for path in MODULES}:
        names = [path.name for path in folder.iterdir() if path.is_file() and path.suffix != ".pyc"]
        assert len(names) <= 14, f"{folder} holds {len(names)} files"


@of_each_module
def test_private_names_stay_in_their_file(path):
    for node in ast.walk(parsed(path)):
        if isinstance(node, ast.ImportFrom) and (node.module or "").split(".")[0] == "agree":
            private = [alias.name for alias in node.names if alias.name.startswith("_") and alias.name != "__version__"]
            assert not private, f"{path} imports {private} of {node.module}"
