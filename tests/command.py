"""The command in a process of its own, as a user runs it, without the second that each start takes.

One server a test process has loaded the package; each call is a fork of it, with its own arguments, folder, environment
and streams. Where there is no fork, each call is a new process.
"""

import atexit
import json
import os
import subprocess
import sys
import tempfile
from functools import cache
from pathlib import Path

SERVER = """
import io, json, os, sys
import pandas, matplotlib.pyplot, scipy.optimize, scipy.signal, scipy.stats
import agree.cli.main, agree.report.registry
from agree import *
for line in sys.stdin:
    call = json.loads(line)
    child = os.fork()
    if child == 0:
        status = 70
        try:
            for number, name in enumerate(("in", "out", "err")):
                mode = os.O_RDONLY if name == "in" else os.O_WRONLY | os.O_CREAT
                os.dup2(os.open(call[name], mode, 0o600), number)
            os.environ.clear()
            os.environ.update(call["environment"])
            os.chdir(call["cwd"])
            coding = call["environment"].get("PYTHONIOENCODING", "utf-8")
            sys.stdin = open(0, encoding="utf-8", closefd=False)
            sys.stdout, sys.stderr = (open(number, "w", encoding=coding, closefd=False) for number in (1, 2))
            sys.argv = ["agree", *call["arguments"]]
            agree.cli.main.main()
            status = 0
        except SystemExit as error:
            status = 0 if error.code is None else error.code if isinstance(error.code, int) else 1
        except BaseException:
            import traceback
            traceback.print_exc()
            status = 1
        finally:
            try:
                sys.stdout.flush(), sys.stderr.flush()
            finally:
                os._exit(status)
    print(os.waitstatus_to_exitcode(os.waitpid(child, 0)[1]), flush=True)
"""


@cache
def _server():
    server = subprocess.Popen([sys.executable, "-c", SERVER], stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True,
                              encoding="utf-8")
    atexit.register(server.communicate)  # closes its input, which ends it
    return server


def agree(*arguments, cwd=None, **environment):
    """Run `agree` with arguments, in a folder, with more in its environment; return the finished process."""
    words = [*map(str, arguments)]
    settings = {**os.environ, "PYTHONIOENCODING": "utf-8", **environment}
    if not hasattr(os, "fork"):
        return subprocess.run([sys.executable, "-m", "agree", *words], capture_output=True, text=True,
                              encoding="utf-8", cwd=cwd, env=settings, check=False)
    with tempfile.TemporaryDirectory() as folder:
        out, err = Path(folder, "out"), Path(folder, "err")
        server = _server()
        server.stdin.write(json.dumps({
            "arguments": words, "cwd": str(cwd or Path.cwd()), "environment": settings, "in": os.devnull,
            "out": str(out), "err": str(err)}) + "\n")
        server.stdin.flush()
        status = int(server.stdout.readline())
        return subprocess.CompletedProcess(["agree", *words], status, *(
            stream.read_text(encoding="utf-8") for stream in (out, err)))
