"""Every published figure, one test each, at half a unit of its last printed digit.

A folder holds `data.csv`, `expected.toml` and `SOURCE.md`. In `expected.toml` a `[call.NAME]` says what is
computed, a `[[figure]]` what was printed: `printed` (as a string, digits kept), `call`, `of` (path into the
result), `source` of the printed figure (`read` on a page or in a test suite, `memory`, or `computed` by
another program: no publication). Optional:

- `rounded_inputs`, `unrounded`: the paper computed the figure from rounded ones; a list of [factor, path,
  digits] whose sum of factor * round(value, digits) must give the print, while our own value must give
  `unrounded`;
- `exact`: relative tolerance for figures certified beyond the reach of half a digit, or exact;
- `where`: table or section; `note`.

A call may take options from `columns` (or from `weights`, 1/variance), and `only` the rows with a value in a column.
"""

import tomllib
import warnings
from decimal import Decimal
from pathlib import Path
from types import SimpleNamespace

import numpy as np
import pytest
from scipy import special
from scipy.optimize import brentq

import agree
from agree.estimators.components import Part
from agree.estimators.limits.agreement import exact_limit
from agree.estimators.limits.repeated import variance_and_limits
from agree.estimators.limits.tolerance import one_sided_approximation, tolerance_factor
from agree.estimators.lines import pairwise_slopes
from agree.verdict.rule import conformance_probability

HERE = Path(__file__).parent
SOURCES = sorted(path.parent.name for path in HERE.glob("*/expected.toml"))


def half_unit(printed):
    """Half a unit of the last printed digit."""
    return 0.5 * 10.0 ** Decimal(printed).as_tuple().exponent


def read_columns(folder):
    """Columns of data.csv by name."""
    lines = [line for line in (folder / "data.csv").read_text().splitlines() if line[0] != "#"]
    table = np.array([line.split(",") for line in lines[1:]], dtype=float)
    return dict(zip(lines[0].split(","), table.T, strict=True))


def theil(x, y, options):
    """Theil's slope of y on x and its interval, by ranks of the slopes turned by 45 degrees."""
    reference, device = (x - y) / 2, (x + y) / 2
    p = pairwise_slopes.points(reference, device)
    ranks = ((p.n_slopes + 1) // 2, p.n_slopes // 2 + 1)
    middle = [pairwise_slopes.slope_of_rank(p, k, k, pairwise_slopes.sample(p)) for k in ranks]
    line = agree.passing_bablok(reference, device, **options)
    turned = lambda b: (b - 1) / (b + 1)  # noqa: E731
    return SimpleNamespace(median=np.mean([turned(b) for b in middle]), low=turned(line.slope.low),
                           high=turned(line.slope.high))


def kendall(x, y, options):
    """Kendall's tau as the mean of tau scores at slope 0 of y on x."""
    p = pairwise_slopes.points((x - y) / 2, (x + y) / 2)
    return SimpleNamespace(tau=pairwise_slopes.tau_scores(p, 0.0).mean())


def exact_factor(figure):
    """Ends of the exact interval of mean + z sd with mean 0 and sd 1; each tail holds 1 - confidence."""
    z = figure.get("z") or float(special.ndtri(figure["content"]))
    return exact_limit(0.0, 1.0, figure["n"], z, 1 - 2 * (1 - figure["confidence"]))


def factor(call, figure):
    """Tolerance factor, or the parts of an approximate one."""
    which = figure["n"], figure["content"], figure["confidence"]
    if call["function"] == "one_sided_approximation":
        return one_sided_approximation(*which)
    return tolerance_factor(*which, **call["options"])


def repeated_summary(call):
    """SD of a single difference and limits from a printed bias and its [coefficient, mean square, df]."""
    bias = agree.Estimate(value=call["bias"], low=call["bias"], high=call["bias"], level=0.95, method="printed")
    return variance_and_limits(bias, [Part(*part) for part in call["parts"]], 1.96, 0.95)


def repeated(columns, call):
    """Limits from repeats: columns one under another, with the subjects' labels as often."""
    reference, device = (np.concatenate([columns[name] for name in call[side]]) for side in ("reference", "device"))
    subject = np.tile(columns[call["subject"]], len(call["device"]))
    return agree.repeated_limits(reference, device, subject, **call["options"])


def conformance(figure):
    """Probability within an interval, moved so that it is centred on 0."""
    low, high = figure["interval"]
    return conformance_probability(figure["at"] - (low + high) / 2, figure["u"], (high - low) / 2)


def table(columns, call):
    """Rows of repeats; or made up to have given means and SDs."""
    if "means" in call:
        steps = np.arange(call["repeats"]) - (call["repeats"] - 1) / 2
        return columns[call["means"]][:, None] + columns[call["sds"]][:, None] * steps / steps.std(ddof=1)
    return np.stack([columns[name] for name in call["table"]], axis=1)


def grouped(columns, call):
    """Readings in groups: analysis of variance, or intraclass correlation of the table itself."""
    options = call["options"]
    for name, value in call.get("where", {}).items():
        keep = columns[name] == value
        columns = {other: column[keep] for other, column in columns.items()}
    if "values" in call:
        return agree.precision(columns[call["values"]], columns[call["group"]], **options)
    rows = table(columns, call)
    if call["function"] == "intraclass":
        return agree.intraclass(rows, **options)
    result = agree.precision(rows.ravel(), np.repeat(np.arange(len(rows)), rows.shape[1]), **options)
    if call["function"] == "precision":
        return result
    between, within = result.between_square * (result.groups - 1), result.within_square * (result.n - result.groups)
    return SimpleNamespace(between=between, within=within, total=between + within,
                           root_between=result.between_square**0.5)


def least_reading(figure):
    """Reading at which the probability of a true value above the limit reaches the confidence."""
    limit = figure["limit"]

    def lacking(reading):
        within = conformance({"interval": [-limit, limit], "at": reading, "u": figure["relative_u"] * reading})
        return 1 - within - figure["confidence"]

    return brentq(lacking, limit, 2 * limit)


def compute(folder, call, figure):
    """Run what a figure rests on; some published columns are alike from neighbour to neighbour, and warned of."""
    with warnings.catch_warnings():
        warnings.filterwarnings("ignore", message="neighbouring errors are alike")
        return computed(folder, call, figure)


def computed(folder, call, figure):
    """Run what a figure rests on."""
    without_data = {"exact_limit": exact_factor, "conformance": conformance, "least_reading": least_reading}
    if call["function"] in without_data:
        return without_data[call["function"]](figure)
    if call["function"] in ("tolerance_factor", "one_sided_approximation"):
        return factor(call, figure)
    if call["function"] == "repeated_summary":
        return repeated_summary(call)
    if call.get("generated") == "numacc2":
        columns = {"y": np.r_[1.2, np.tile([1.1, 1.3], 500)]}
        call = {**call, "reference": [], "device": ["y"]}
    else:
        columns = read_columns(folder)
    if call["function"] == "repeated_limits":
        return repeated(columns, call)
    if {"table", "values", "means"} & call.keys():
        return grouped(columns, call)
    if "only" in call:
        ((name, value),) = call["only"].items()
        columns = {key: column[columns[name] == value] for key, column in columns.items()}
    take = lambda names: np.mean([columns[name] for name in names], axis=0)  # noqa: E731
    device = take(call["device"])
    reference = take(call["reference"]) if call["reference"] else np.zeros(device.size)
    if "device_minus" in call:
        device = device - take(call["device_minus"])
    reference = reference - call.get("reference_minus", 0.0)
    options = dict(call["options"])
    options |= {option: columns[name] for option, name in call.get("columns", {}).items()}
    options |= {option: columns[name] ** -0.5 for option, name in call.get("weights", {}).items()}
    if call.get("two_sd"):
        options["coverage"] = 2 * special.ndtr(2.0) - 1
    own = {"theil": theil, "kendall": kendall}.get(call["function"])
    if own:
        return own(reference, device, options)
    result = getattr(agree, call["function"])(reference, device, **options)
    return result.at(call["at"]) if "at" in call else result


def value_at(result, path):
    """Follow a dotted path; a number in it is an index."""
    for step in filter(None, path.split(".")):
        result = result[int(step)] if step.isdigit() else getattr(result, step)
    return float(result)


def all_figures():
    for source in SOURCES:
        expected = tomllib.loads((HERE / source / "expected.toml").read_text())
        for figure in expected["figure"]:
            yield pytest.param(HERE / source, expected["call"][figure["call"]], figure,
                               id=f"{source}-{figure['what'].replace(' ', '_')}")


@pytest.mark.parametrize(("folder", "call", "figure"), list(all_figures()))
def test_published_figure(folder, call, figure):
    result = compute(folder, call, figure)
    ours = value_at(result, figure["of"])
    printed = figure["printed"]
    tolerance = figure["exact"] * abs(float(printed)) if "exact" in figure else half_unit(printed)
    if "rounded_inputs" in figure:
        assert abs(ours - float(figure["unrounded"])) <= half_unit(figure["unrounded"])
        ours = sum(factor * round(value_at(result, path), digits)
                   for factor, path, digits in figure["rounded_inputs"])
    # A few ulps beyond half a unit, for prints that are ties in decimal.
    assert abs(ours - float(printed)) <= tolerance + 4 * np.spacing(abs(float(printed)))


@pytest.mark.parametrize("source", SOURCES)
def test_every_source_says_where_it_comes_from(source):
    folder = HERE / source
    expected = tomllib.loads((folder / "expected.toml").read_text())
    assert (folder / "SOURCE.md").read_text().startswith("# ")
    assert expected["cite"]
    assert expected["confidence"]
    for figure in expected["figure"]:
        assert figure["source"] in ("read", "memory", "computed"), figure["what"]
        assert ("rounded_inputs" in figure) == ("unrounded" in figure), figure["what"]
        assert isinstance(figure["printed"], str)
    if (folder / "data.csv").exists():
        head = (folder / "data.csv").read_text().splitlines()[:2]
        assert head[1].startswith("# Origin: ")
        assert "icence" in head[1]


def test_a_wrong_figure_would_fail():
    """The comparison itself can fail: one unit of the last digit off is refused."""
    folder = HERE / "systolic_1999"
    expected = tomllib.loads((folder / "expected.toml").read_text())
    figure = next(item for item in expected["figure"] if item["of"] == "bias.value")
    assert figure["printed"] == "-16.29"
    with pytest.raises(AssertionError):
        test_published_figure(folder, expected["call"]["limits"], {**figure, "printed": "-16.30"})
