"""Ammonia in fresh water: which share of it is the poisonous, un-ionized form."""

from __future__ import annotations


def un_ionized_fraction(ph: float, temperature: float) -> float:
    """Share of total ammonia that is un-ionized, NH3, by moles (so of its nitrogen too).

    Equation: f = 1 / (1 + 10^(pKa - pH)), pKa = 0.09018 + 2729.92 / T.
    Shapes and units: pH, T in K; a share of one. Valid for: fresh water, 0 to 30 degC, pH 6 to 10.
    Uncertainty: Trussell's table differs by up to 2.6 %. Source: Emerson, Russo, Lund, Thurston (1975), J. Fish. Res.
    Board Can. 32:2379. Not covered: salt, which lowers the share by a few per cent.
    """
    return float(1 / (1 + 10 ** (0.09018 + 2729.92 / temperature - ph)))
