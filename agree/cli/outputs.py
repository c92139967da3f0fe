"""Where a command may write: never over what it reads, a recording, a table, a declaration or a file of others."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from pathlib import Path


def outputs_are_no_inputs(files: Sequence[tuple[str | None, ...]], *outputs: str | None,
                          others: Mapping[str, str | None] | None = None, declaration: str | None = None,
                          force: bool = False, own_forms: Sequence[str] = ()) -> None:
    """Refuse outputs that would destroy something, before anything is read or computed.

    Parameters
    ----------
    files : sequence of tuples
        Recordings that are read.
    outputs : str or None
        Files to write; None and "-" are none.
    others : mapping
        Further inputs: what each is, such as "the list of sessions", and its file.
    declaration : str, optional
        A declaration to write; it replaces no file, or with `force` an older declaration or result.
    own_forms : sequence of str
        Files to write that may be tables: they may replace a file, but no input.

    Raises
    ------
    InputError
        An output that is an input, or another output, or a file that must not be lost.
    """
    from agree.core.errors import InputError

    asked = [str(name) for name in (*outputs, declaration, *own_forms) if name not in (None, "-")]
    inputs = {_place(name) for pair in files for name in pair if name is not None}
    told = {_listed(name): what for what, name in (others or {}).items() if name is not None}
    for name in asked:
        place = _place(name)
        if place in inputs:
            raise InputError(f"{name} is one of the recordings; a recording is never written over: choose another name")
        if place in told:
            raise InputError(f"{name} is {told[place]} given in this command; an input is never written over: choose "
                             "another name")
    _no_two_alike([_place(name) for name in asked])
    for name in asked:
        if name not in own_forms:
            _nothing_is_lost(name, declaring=name == declaration, force=force)


def _listed(name: str) -> Path:
    """Return a list's own file where its folder is given."""
    from agree.cli.session_list import LIST_NAME

    path = Path(name)
    return _place(path / LIST_NAME if path.is_dir() else path)


def _place(name: str | Path) -> Path:
    """Return where a name leads; links that lead in a circle are said to be so."""
    from agree.core.errors import InputError

    try:
        place = Path(name).resolve()
        if place.is_symlink():  # from Python 3.13 on a circle is no error: one of its links is left
            raise OSError
        return place
    except (OSError, RuntimeError, ValueError):
        raise InputError(f"{name} leads nowhere: its links go in a circle, or it is not a path; choose another name"
                         ) from None


def _no_two_alike(written: list[Path]) -> None:
    from agree.core.errors import InputError

    for k, place in enumerate(written):
        if place in written[:k] or any(place.exists() and other.exists() and place.samefile(other)
                                       for other in written[:k]):
            raise InputError(f"{place.name} is given for two outputs; the second would write over the first: give each "
                             "a name of its own")


def _nothing_is_lost(name: str, *, declaring: bool, force: bool) -> None:
    from agree.core.errors import InputError
    from agree.files.replacing import not_to_be_lost

    lost, path = not_to_be_lost(name), Path(name)
    if declaring and lost in ("", "a declaration"):
        if not force and path.is_file() and path.stat().st_size:
            raise InputError(f"{name} exists already and is {lost or 'a result of agree'}; what was declared is not "
                             "replaced without a word: choose another name, or say --force")
        return
    if lost:
        raise InputError(f"{name} exists already and is {lost}, which is not written over: choose another name, or "
                         "remove it yourself")
