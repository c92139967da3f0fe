"""First use from many threads, and nothing global changed: each in a process of its own, since imports happen once."""

import subprocess
import sys

FIRST_USE = """
import sys, threading
sys.setswitchinterval(1e-6)
import agree
names = [name for name in agree.__all__ if name != "__version__"]
gate, failed = threading.Barrier({threads}), []
def use(k):
    gate.wait()
    try:
        for name in names[k:] + names[:k]:
            getattr(agree, name)
        text = str(agree.limits_of_agreement([1.0, 2, 3, 5], [1.1, 2.1, 2.9, 5.2]))
        check = agree.check_claim(agree.Pairs(reference=[200.0 + k % 7 for k in range(400)],
                                              device=[201.0 + k % 5 for k in range(400)]), "2 %")
        assert check.summary() and text
    except BaseException as error:
        failed.append(repr(error))
threads = [threading.Thread(target=use, args=(k,)) for k in range({threads})]
for thread in threads: thread.start()
for thread in threads: thread.join()
print(len(failed), failed[:1])
"""


def run(code):
    # Libraries deprecate each other's names, which is not ours to mend.
    command = [sys.executable, "-W", "error", "-W", "ignore::DeprecationWarning", "-c", code]
    done = subprocess.run(command, capture_output=True, text=True, timeout=120,
                          check=False)
    assert done.returncode == 0, done.stderr
    return done.stdout.split("\n")[0]


def test_first_use_from_32_threads():
    assert run(FIRST_USE.format(threads=32)) == "0 []"


GLOBALS = """
import locale, random, sys, threading, warnings
sys.setswitchinterval(1e-5)
import numpy as np
import matplotlib as mpl
# these set filters of their own
import scipy.linalg, scipy.optimize, scipy.signal, scipy.sparse, scipy.special, scipy.stats
np.random.seed(3); random.seed(3)
def state():
    return (list(warnings.filters), dict(mpl.rcParams), locale.setlocale(locale.LC_ALL),
            np.random.get_state()[1].tolist(), random.getstate())
before = state()
import agree
x = 200 + 50 * np.sin(np.arange(900) / 60)
pairs = agree.Pairs(reference=x, device=1.01 * x + np.cos(np.arange(900)))
check = agree.check_claim(pairs, "2 %")
agree.find_correction([pairs]); agree.plan("2 %"); str(check)
agree.split_errors(x, x + 1, x - np.cos(np.arange(900)), sampling="serial")
agree.limits_of_agreement(x, x + 1.0 * (np.arange(900) % 3)).plot()
from agree import render_page
render_page(check, "svg")
def many(k):
    agree.check_claim(pairs, "2 %")
    agree.repeated_limits(x[:60], x[:60] + 1.0 * (np.arange(60) % 7), subject=np.arange(60) // 6,
                          true_value="varying", method="mixed")
    render_page(check, "png")
threads = [threading.Thread(target=many, args=(k,)) for k in range(4)]
for thread in threads: thread.start()
for thread in threads: thread.join()
after = state()
print([a == b for a, b in zip(before, after)])
"""


def test_no_call_changes_what_belongs_to_the_process():
    assert run(GLOBALS) == "[True, True, True, True, True]"
