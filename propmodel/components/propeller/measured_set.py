"""Propellers measured in the wind tunnel (UIUC), each with its own coefficients, and tables of propellers."""

from __future__ import annotations

import hashlib
from collections.abc import Sequence
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from propmodel.base import tables
from propmodel.base.checks import check_in, quoted
from propmodel.components.propeller.data import OwnFit, Propeller, blade_width_index

__all__ = ["current_name", "measured", "measured_names", "stack"]

_OWN = (
    "log_c_t",
    "slope_c_t",
    "log_c_p",
    "slope_c_p",
    "zero_thrust_advance_ratio",
    "reynolds_low",
    "reynolds_high",
    "static_rows",
)
_PLAIN = (
    "diameter",
    "pitch",
    "blades",
    "log_c_t_offset",
    "figure_of_merit_offset",
    "log_zero_thrust_offset",
    "unstalled_offset",
    "log_inplane_offset",
)
_DIGEST = "source_key_digest"
"""Column with the first 12 hexadecimal digits of the SHA-256 of a row's key in the source."""
_OPTIONAL = ("chord_ratio", "mass", "multirotor", "log_sd_c_t", "log_sd_c_p", "spread_correlation")


@lru_cache(maxsize=1)
def _rows() -> dict[str, dict[str, float]]:
    frame = tables.read_table("propellers", "measured.csv").set_index("propeller").drop(columns=_DIGEST)
    frame = frame.rename(columns=lambda name: name.split(" [")[0])
    return {str(name): {str(k): float(v) for k, v in row.items()} for name, row in frame.to_dict("index").items()}


@lru_cache(maxsize=1)
def _names_by_digest() -> dict[str, str]:
    frame = tables.read_table("propellers", "measured.csv")
    return dict(zip(frame[_DIGEST].astype(str), frame["propeller"].astype(str), strict=True))


def current_name(name: str) -> str:
    """Present key for a key in old links and files, in which the keys of the source were used.

    Parameters
    ----------
    name : str
        Any text.

    Returns
    -------
    str
        The text itself where it is no former key.

    Examples
    --------
    >>> current_name("m001")
    'm001'
    """
    digest = hashlib.sha256(str(name).encode("utf-8", "replace")).hexdigest()[:12]
    return _names_by_digest().get(digest, str(name))


def measured_names() -> list[str]:
    """Keys of the measured propellers: ``m001``, ``m002``, ...

    Returns
    -------
    list of str

    Examples
    --------
    >>> len(measured_names())
    211
    """
    return sorted(_rows())


def measured(name: str) -> Propeller:
    """One of the measured propellers, with its own coefficients and spread.

    Parameters
    ----------
    name : str
        A key of ``measured_names()``.

    Returns
    -------
    Propeller

    Raises
    ------
    ValueError
        If the name is not known; the message lists the nearest.
    """
    rows = _rows()
    row = rows[check_in("propeller", name, rows)]
    return Propeller(
        diameter=row["diameter"],
        pitch=row["pitch"],
        blades=int(row["blades"]),
        chord_ratio=None if np.isnan(row["chord_ratio"]) else row["chord_ratio"],
        name=name,
        own_fit=OwnFit(
            log_c_t=row["log_ct"],
            slope_c_t=row["ct_slope"],
            log_c_p=row["log_cp"],
            slope_c_p=row["cp_slope"],
            zero_thrust_advance_ratio=row["zero_thrust_advance_ratio"],
            shape_c_t=tuple(row[f"ct_shape_{i}"] for i in (1, 2, 3)),
            shape_c_p=tuple(row[f"cp_shape_{i}"] for i in (1, 2, 3, 4, 5)),
            reynolds_low=row["reynolds_low"],
            reynolds_high=row["reynolds_high"],
            static_rows=int(row["static_rows"]),
        ),
        log_sd_c_t=row["log_sd_ct"],
        log_sd_c_p=row["log_sd_cp"],
        spread_correlation=0.0,
    )


def stack(propellers: Sequence[Propeller]) -> Propeller:
    """Several propellers as one whose fields are arrays, so that a table of them is one forecast.

    Parameters
    ----------
    propellers : sequence of Propeller
        With scalar fields; measured, calibrated and labels may be mixed.

    Returns
    -------
    Propeller
        Fields of shape (number of propellers,); NaN where one has no value.

    Raises
    ------
    ValueError
        If there is none, or one holds arrays.

    Examples
    --------
    >>> stack([Propeller(0.127, 0.1, 3), Propeller(0.254, 0.12)]).blades
    array([3., 2.])
    """
    if not isinstance(propellers, Sequence) or not all(isinstance(one, Propeller) for one in propellers):
        raise ValueError(f"propellers must be a list of propellers, got {quoted(propellers)}")
    if not propellers:
        raise ValueError("propellers must hold at least one propeller, got none")

    def column(values: list[object], what: str) -> NDArray[np.float64]:
        if any(np.ndim(v) for v in values):  # type: ignore[arg-type]
            raise ValueError(f"propellers must have scalar fields to be stacked, got an array in {what}")
        return np.array([np.nan if v is None else float(v) for v in values])  # type: ignore[arg-type]

    fields: dict[str, NDArray] = {k: column([getattr(q, k) for q in propellers], k) for k in _PLAIN}
    for k in _OPTIONAL:
        if any(getattr(q, k) is not None for q in propellers):
            fields[k] = column([getattr(q, k) for q in propellers], k)
    if any(np.ndim(q.blade_width) for q in propellers):
        raise ValueError("propellers must have scalar fields to be stacked, got an array in blade_width")
    widths = np.array([int(blade_width_index(q.blade_width)) for q in propellers])
    if widths.any():
        fields["blade_width"] = widths
    owns = [q.own_fit for q in propellers]
    own = None
    if any(o is not None for o in owns):
        shapes: dict[str, tuple[NDArray[np.float64], ...]] = {
            k: tuple(column([None if o is None else getattr(o, k)[i] for o in owns], k) for i in range(size))
            for k, size in (("shape_c_t", 3), ("shape_c_p", 5))
        }
        plain = {k: column([None if o is None else getattr(o, k) for o in owns], k) for k in _OWN}
        own = OwnFit(**plain, shape_c_t=shapes["shape_c_t"], shape_c_p=shapes["shape_c_p"])
    return Propeller(own_fit=own, **fields)  # type: ignore[arg-type]
