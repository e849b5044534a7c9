"""The mixed model of people and their sessions, by a maintained library where it is installed."""

from __future__ import annotations

import warnings

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Groups = dict[tuple[str, int], list[int]]
"""Rows of each session of each person, sorted."""

PERSON, SESSION, REPETITION = "person", "session", "repetition"


def variances(y: Floats, groups: Groups, *, with_sessions: bool) -> dict[str, float]:
    """Return the variances of people, sessions and repetitions by restricted maximum likelihood.

    Args:
        y: Shape (n,).
        groups: Rows of each session of each person, sorted.
        with_sessions: Whether anyone had two; else sessions are no part of the model.

    Returns:
        By name; nothing if the library is not installed or found no answer. At a variance of
        zero it may fail, or claim to have converged where it has not: values that are not
        finite count as no answer.
    """
    try:
        from statsmodels.regression.mixed_linear_model import MixedLM
    except ImportError:
        return {}
    order = [row for rows in groups.values() for row in rows]
    keys = [key for key, rows in groups.items() for _ in rows]
    # In units of the whole spread, for the optimiser.
    scale = float(y.std()) or 1.0
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # whether it converged is asked below
        try:
            fit = MixedLM(
                y[order] / scale,
                np.ones((len(order), 1)),
                np.array([person for person, _ in keys]),
                exog_re=np.ones((len(order), 1)),
                exog_vc=_sessions(keys) if with_sessions else None,
            ).fit(reml=True)
            found = {PERSON: float(fit.cov_re[0, 0]), REPETITION: float(fit.scale)}
            if with_sessions:
                found[SESSION] = float(fit.vcomp[0])
        except (np.linalg.LinAlgError, ValueError, ZeroDivisionError):
            return {}
    if not fit.converged or not all(np.isfinite(value) for value in found.values()):
        return {}
    return {name: value * scale**2 for name, value in found.items()}


def _sessions(keys: list[tuple[str, int]]) -> object:
    """Return what the library needs to know of sessions: for each person which row is in which."""
    from statsmodels.regression.mixed_linear_model import VCSpec

    rows: dict[str, list[int]] = {}
    for person, session in keys:
        rows.setdefault(person, []).append(session)
    names = [sorted(set(sessions)) for sessions in rows.values()]
    matrices = [
        np.array([[float(one == name) for name in of_person] for one in sessions])
        for sessions, of_person in zip(rows.values(), names, strict=True)
    ]
    return VCSpec([SESSION], [[list(map(str, one)) for one in names]], [matrices])
