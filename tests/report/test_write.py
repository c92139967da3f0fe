"""Outputs are the old file or the new one, whole, whatever happens; pipes are written through, devices refused."""

from __future__ import annotations

import errno
import os
import signal
import stat
import subprocess
import sys
import threading
import time
from pathlib import Path

import pytest

from agree import InputError
from agree.files import writing
from agree.files.writing import write_bytes, write_text

SLOW = """
import os, pathlib, sys, time
from agree.files.writing import write_whole
new, ready = sys.argv[2].encode() * 200_000, pathlib.Path(sys.argv[3])
def fill(temporary):
    with temporary.open("wb") as file:
        for k in range(0, len(new), 10_000):
            file.write(new[k:k + 10_000])
            file.flush()
            if k == 20_000:
                ready.touch()
print("begin", flush=True)
for _ in range(10_000):
    write_whole(sys.argv[1], fill)
"""


def test_twenty_kills(tmp_path):
    """A process that writes the file again and again is killed at 20 moments: it is the old or a new one, whole."""
    target, contents = tmp_path / "page.json", {b"0" * 200_000}
    target.write_bytes(b"0" * 200_000)
    environment = {**os.environ, "PYTHONPATH": str(Path(writing.__file__).parents[2])}
    for k in range(20):
        letter = chr(ord("a") + k)
        contents.add(letter.encode() * 200_000)
        ready = tmp_path / f"ready-{k}"
        with subprocess.Popen([sys.executable, "-c", SLOW, str(target), letter, str(ready)], env=environment,
                              stdout=subprocess.DEVNULL) as process:
            while not ready.exists() and process.poll() is None:
                time.sleep(0.001)
            time.sleep(0.0007 * k)
            process.send_signal(signal.SIGKILL)
        assert process.returncode == -signal.SIGKILL
        assert target.read_bytes() in contents


@pytest.mark.parametrize("error", [errno.ENOSPC, errno.EROFS, errno.EIO])
def test_a_disk_that_is_full_or_read_only(tmp_path, error):
    target = tmp_path / "result.json"
    target.write_text("old", encoding="utf-8")

    def fill(temporary):
        temporary.write_text("half", encoding="utf-8")
        raise OSError(error, os.strerror(error))

    with pytest.raises(InputError) as caught:
        writing.write_whole(target, fill)
    assert str(caught.value) == f"{target} cannot be written: {os.strerror(error)}; choose another place"
    assert [path.name for path in tmp_path.iterdir()] == ["result.json"]
    assert target.read_text(encoding="utf-8") == "old"


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="a device that is always full")
def test_devices_are_refused():
    for name in ("/dev/full", "/dev/null"):
        with pytest.raises(InputError, match=f"{name} is a device or socket, which is not written to"):
            write_text(name, "x")
        assert stat.S_ISCHR(Path(name).stat().st_mode)


def test_a_pipe_is_written_through(tmp_path):
    pipe, found = tmp_path / "pipe", []
    os.mkfifo(pipe)
    reader = threading.Thread(target=lambda: found.append(pipe.read_bytes()))
    reader.start()
    write_bytes(pipe, b"x" * 1_000_000)
    reader.join()
    assert found == [b"x" * 1_000_000]
    assert stat.S_ISFIFO(pipe.stat().st_mode)
    assert [path.name for path in tmp_path.iterdir()] == ["pipe"]


def test_a_pipe_that_nobody_reads(tmp_path, monkeypatch):
    monkeypatch.setattr(writing, "PIPE_WAIT_S", 0.1)
    os.mkfifo(tmp_path / "pipe")
    with pytest.raises(InputError, match="nothing reads this pipe"):
        write_bytes(tmp_path / "pipe", b"x")


def test_links_and_permissions_stay(tmp_path):
    (tmp_path / "real").mkdir()
    target, link = tmp_path / "real" / "result.json", tmp_path / "link.json"
    target.write_text("old", encoding="utf-8")
    target.chmod(0o640)
    link.symlink_to(target)
    write_text(link, "new")
    assert link.is_symlink()
    assert target.read_text(encoding="utf-8") == "new"
    assert stat.S_IMODE(target.stat().st_mode) == 0o640


def test_new_files_have_the_usual_permissions(tmp_path):
    old = os.umask(0o027)
    try:
        write_text(tmp_path / "new.json", "x")
    finally:
        os.umask(old)
    assert stat.S_IMODE((tmp_path / "new.json").stat().st_mode) == 0o640


def test_a_file_that_is_read_only(tmp_path, monkeypatch):
    (tmp_path / "kept.json").write_text("old", encoding="utf-8")
    monkeypatch.setattr(os, "access", lambda path, mode: False)  # the superuser may write everywhere
    with pytest.raises(InputError, match="it is read-only"):
        write_text(tmp_path / "kept.json", "new")
    assert (tmp_path / "kept.json").read_text(encoding="utf-8") == "old"


def test_a_place_that_becomes_read_only_is_named_rightly(tmp_path, monkeypatch):
    """Removing the temporary file failed too, and its error with its odd name was shown instead."""
    def refused(*_, **__):
        raise OSError(errno.EROFS, os.strerror(errno.EROFS), ".agree-12ab")

    monkeypatch.setattr(os, "open", refused)
    monkeypatch.setattr(Path, "unlink", refused)
    with pytest.raises(InputError, match=r"x.json cannot be written: Read-only file system; choose another place$"):
        write_text(tmp_path / "x.json", "x")


@pytest.mark.skipif(not hasattr(os, "fork"), reason="limits of one process")
def test_a_file_that_may_not_grow(tmp_path):
    """A limit of 4,000 bytes a file stands for a full disk: one line names the file, and nothing half is left."""
    code = ("import resource, signal, sys; signal.signal(signal.SIGXFSZ, signal.SIG_IGN); "
            "resource.setrlimit(resource.RLIMIT_FSIZE, (4000, 4000)); from agree.demo.power import write_recordings; "
            "from pathlib import Path; write_recordings(Path(sys.argv[1]))")
    environment = {**os.environ, "PYTHONPATH": str(Path(writing.__file__).parents[2])}
    done = subprocess.run([sys.executable, "-c", code, str(tmp_path / "demo")], env=environment, text=True,
                          capture_output=True, check=False)
    assert "invented-crank.csv cannot be written: File too large; choose another place" in done.stderr
    assert list((tmp_path / "demo").iterdir()) == []
