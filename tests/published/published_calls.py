"""What a published figure rests on, by the name of its call in `expected.toml`.

Most names are those of the package's own functions, called with columns of `data.csv`. The others stand below: inner
functions of the package, and those that need no data in `published_without_data`.
"""

import warnings
from types import SimpleNamespace

import numpy as np
from published_forms import FORMS
from published_without_data import WITHOUT_DATA
from scipy import special

import agree
from agree.estimators.lines import pairwise_slopes, sorted_points
from agree.verdict.sessions import pooled


def read_columns(folder):
    """Columns of data.csv by name."""
    lines = [line for line in (folder / "data.csv").read_text().splitlines() if line[0] != "#"]
    return parsed(lines)


def parsed(lines):
    """Columns by name from a head and rows of comma-separated cells."""
    table = np.array([line.split(",") for line in lines[1:]], dtype=float)
    return dict(zip(lines[0].split(","), table.T, strict=True))


def theil(columns, call):
    """Theil's slope of y on x and its interval, by ranks of the slopes turned by 45 degrees."""
    x, y = taken(columns, call["reference"]), taken(columns, call["device"])
    reference, device = (x - y) / 2, (x + y) / 2
    p = sorted_points.points(reference, device)
    places = ((p.n_slopes + 1) // 2, p.n_slopes // 2 + 1)
    middle = [pairwise_slopes.slope_of_rank(p, k, k, pairwise_slopes.sample(p)) for k in places]
    line = agree.passing_bablok(reference, device, **call["options"])
    turned = lambda b: (b - 1) / (b + 1)  # noqa: E731
    return SimpleNamespace(median=np.mean([turned(b) for b in middle]), low=turned(line.slope.low),
                           high=turned(line.slope.high))


def kendall(columns, call):
    """Kendall's tau as the mean of tau scores at slope 0 of y on x."""
    x, y = taken(columns, call["reference"]), taken(columns, call["device"])
    p = sorted_points.points((x - y) / 2, (x + y) / 2)
    return SimpleNamespace(tau=pairwise_slopes.tau_scores(p, 0.0).mean())


def repeated(columns, call):
    """Limits from repeats: columns one under another, with the subjects' labels as often."""
    reference, device = (np.concatenate([columns[name] for name in call[side]]) for side in ("reference", "device"))
    subject = np.tile(columns[call["subject"]], len(call["device"]))
    with warnings.catch_warnings():  # the blood pressures of 1999 hold subjects far off, of which it rightly warns
        warnings.filterwarnings("ignore", "the groups' mean errors are not normal", agree.AssumptionWarning)
        return getattr(agree, call["function"])(reference, device, subject, **call["options"])


def ratio_of_means(columns, call):
    """Ratio of the means, from the bias in per cent of one band of everything."""
    found = agree.bias_by_band(taken(columns, call["reference"]), taken(columns, call["device"]), edges=[0, 1e9])
    return 1 + found.bands[0].bias.value / 100


def means_of_days(columns, call):
    """Mean over groups whose means have SDs sd/sqrt(repeats), alike or not, and the SD between them."""
    variances = columns[call["sds"]] ** 2 / call["repeats"]
    if call.get("alike"):
        variances = np.full(variances.size, variances.mean())
    mean, tau2 = pooled(columns[call["means"]], variances, 0.95)
    return SimpleNamespace(mean=mean, between_sd=tau2 ** 0.5)


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
        values = columns[call["values"]]
        if "less" in call:  # a shift leaves an analysis of variance alone; rounded, the decimal digits are whole again
            values = np.round(values - call["less"], call["decimals"])
        return agree.precision(values, columns[call["group"]], **options)
    rows = table(columns, call)
    if call["function"] == "intraclass":
        return agree.intraclass(rows, **options)
    result = agree.precision(rows.ravel(), np.repeat(np.arange(len(rows)), rows.shape[1]), **options)
    if call["function"] == "precision":
        return result
    between, within = result.between_square * (result.groups - 1), result.within_square * (result.n - result.groups)
    return SimpleNamespace(between=between, within=within, total=between + within,
                           error_of_all=((between + within) / (result.n - 1) / result.n) ** 0.5,
                           root_between=result.between_square**0.5)


def taken(columns, names):
    """Mean of the columns named."""
    return np.mean([columns[name] for name in names], axis=0)


def paired(columns, call):
    """Call a function of the package with a reference and a device."""
    if "only" in call:
        ((name, value),) = call["only"].items()
        columns = {key: column[columns[name] == value] for key, column in columns.items()}
    device = taken(columns, call["device"])
    reference = taken(columns, call["reference"]) if call["reference"] else np.zeros(device.size)
    if "device_minus" in call:
        device = device - taken(columns, call["device_minus"])
    reference = reference - call.get("reference_minus", 0.0)
    options = dict(call["options"])
    options |= {option: columns[name] for option, name in call.get("columns", {}).items()}
    options |= {option: columns[name] ** -0.5 for option, name in call.get("weights", {}).items()}
    if call.get("two_sd"):
        options["coverage"] = 2 * special.ndtr(2.0) - 1
    result = getattr(agree, call["function"])(reference, device, **options)
    return result.at(call["at"]) if "at" in call else result


OWN = {"theil": theil, "kendall": kendall, "repeated_limits": repeated, "repeated_correlation": repeated,
       "ratio_of_means": ratio_of_means, "means_of_days": means_of_days} | FORMS


def from_columns(columns, call):
    """Run a call that rests on data."""
    with warnings.catch_warnings():  # some published columns have alike neighbours, or are skewed, and warned of
        warnings.filterwarnings("ignore", message="neighbouring errors are alike")
        warnings.filterwarnings("ignore", message=".*rise and fall together")
        warnings.filterwarnings("ignore", message="the errors are not normal")
        if call["function"] in OWN:
            return OWN[call["function"]](columns, call)
        if {"table", "values", "means"} & call.keys():
            return grouped(columns, call)
        return paired(columns, call)


def compute(folder, call, figure):
    """Run what a figure rests on."""
    if call["function"] in WITHOUT_DATA:
        return WITHOUT_DATA[call["function"]](call, figure)
    if call.get("generated") == "numacc2":
        columns = {"y": np.r_[1.2, np.tile([1.1, 1.3], 500)]}
        return from_columns(columns, {**call, "reference": [], "device": ["y"]})
    return from_columns(read_columns(folder), call)


def value_at(result, path):
    """Follow a dotted path of attributes and keys; a number in it is an index."""
    for step in filter(None, path.split(".")):
        if isinstance(result, dict):
            result = result[step]
        else:
            result = result[int(step)] if step.isdigit() else getattr(result, step)
    return float(result)
