"""Where a figure of the release may lie: its mean, and the one food on the table.

The release gives a mean x, the number of data points n, the standard error SE of the mean, its degrees of freedom
DF, the lower and upper bound of the mean at 95 %, and the least and the most that was measured; often only some.

*Mean*: the release's own bounds; where it has none, ``x +- t(0.975, DF) SE`` (DF = n - 1 where it is not given).

*Food*, what a single further sample may be: the prediction interval of a normal population whose mean and standard
deviation are estimated from n samples, ``x +- t(0.975, n - 1) s sqrt(1 + 1/n)`` (ISO 16269-8:2004; G. J. Hahn and
W. Q. Meeker, Statistical Intervals, 1991, section 4.7; both from memory). With s = SE sqrt(n) that is
``x +- t(0.975, n - 1) SE sqrt(n + 1)``. It is widened to what was measured, least and most, and to the mean's.

Neither is below nought or, for grams, above 100, and both hold the figure, which the release may round to a place
outside its own bounds. An SE of nought says that it was rounded away or the samples were alike, and is none.
"""

from __future__ import annotations

import math
from decimal import ROUND_CEILING, ROUND_FLOOR, Decimal

from scipy.stats import t

from tools.composition.release import Figure

INSIDE = 0.95
STEP = Decimal("0.001")

Ends = tuple[Decimal, Decimal]


def mean_interval(figure: Figure, most: Decimal | None) -> tuple[str, str]:
    """Ends of the mean's interval as cells, rounded outward to 3 decimals; empty where the release tells of none.

    Parameters
    ----------
    figure : Figure
    most : Decimal or None
        The most that there can be: 100 for g per 100 g.

    >>> mean_interval(Figure("81.11", 580, "0.065"), Decimal(100))
    ('80.982', '81.238')
    """
    return _cells(_mean(figure), figure, most)


def food_interval(figure: Figure, most: Decimal | None) -> tuple[str, str]:
    """Ends of the one food's interval as cells; empty where the release tells neither an error nor a range.

    >>> food_interval(Figure("10.0", 9, "0.1", least="8.0", most="10.4"), Decimal(100))
    ('8.000', '10.730')
    """
    known = [_mean(figure), _predicted(figure), _measured(figure)]
    ends = [pair for pair in known if pair is not None]
    if not ends:
        return "", ""
    return _cells((min(low for low, _ in ends), max(high for _, high in ends)), figure, most)


def _mean(figure: Figure) -> Ends | None:
    if figure.bounds is not None:
        return Decimal(figure.bounds[0]), Decimal(figure.bounds[1])
    if not _has_error(figure):
        return None
    return _around(figure, t_quantile(figure.freedom or figure.points - 1))


def _predicted(figure: Figure) -> Ends | None:
    if not _has_error(figure):
        return None
    return _around(figure, t_quantile(figure.points - 1) * math.sqrt(figure.points + 1))


def _measured(figure: Figure) -> Ends | None:
    return (Decimal(figure.least), Decimal(figure.most)) if figure.least and figure.most else None


def _has_error(figure: Figure) -> bool:
    return bool(figure.error) and Decimal(figure.error) > 0 and figure.points > 1


def _around(figure: Figure, times: float) -> Ends:
    value, reach = Decimal(figure.value), Decimal(times) * Decimal(figure.error)
    return value - reach, value + reach


def t_quantile(freedom: float) -> float:
    """The factor to either side of the mean within which 95 of 100 lie: the 0.975 quantile of Student's t."""
    return float(t.ppf((1 + INSIDE) / 2, freedom))


def _cells(ends: Ends | None, figure: Figure, most: Decimal | None) -> tuple[str, str]:
    if ends is None:
        return "", ""
    value = Decimal(figure.value)
    low, high = max(min(ends[0], value), Decimal(0)), max(ends[1], value)
    if most is not None:
        high = max(min(high, most), value)
    return str(low.quantize(STEP, ROUND_FLOOR)), str(high.quantize(STEP, ROUND_CEILING))
