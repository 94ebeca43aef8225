"""Find and read the tables in ``data/``, on first use, from a checkout or an installed wheel."""

from __future__ import annotations

from contextlib import suppress
from functools import lru_cache
from importlib import resources
from pathlib import Path

import pandas as pd

__all__ = ["data_path", "read_table"]


def _installed() -> Path:
    return Path(str(resources.files("propmodel.data")))


def data_path(*parts: str) -> Path:
    """Path of a file or folder below ``data/``.

    Parameters
    ----------
    parts : str
        Names below the data folder.

    Returns
    -------
    pathlib.Path

    Raises
    ------
    FileNotFoundError
        If neither the installed package nor the checkout has it.
    """
    top = Path(__file__).resolve().parents[2]
    candidates = [top / "data"]
    with suppress(ModuleNotFoundError):
        # a checkout reads its own tables, whatever copy of the package is installed beside it
        candidates.insert(len(candidates) if (top / "pyproject.toml").exists() else 0, _installed())
    for folder in candidates:
        path = folder.joinpath(*parts)
        if path.exists():
            return path
    raise FileNotFoundError(f"data file {'/'.join(parts)} not found below {' or '.join(map(str, candidates))}")


@lru_cache(maxsize=32)
def read_table(family: str, name: str) -> pd.DataFrame:
    """Read one CSV table of ``data/<family>/`` (cached; do not change the frame).

    Parameters
    ----------
    family, name : str
        Folder and file name.

    Returns
    -------
    pandas.DataFrame
        Headings carry units; lines that start with # are left out.
    """
    return pd.read_csv(data_path(family, name), comment="#")
