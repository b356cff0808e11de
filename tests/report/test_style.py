"""The palette, and that drawing leaves the session as it was."""

import itertools

import matplotlib as mpl
import numpy as np
from hypothesis import given
from hypothesis import strategies as st
from matplotlib.figure import Figure

from pumplife.report import style

# Machado, Oliveira and Fernandes, IEEE Trans. Vis. Comput. Graph. 15 (2009) 1291-1298, severity 1
EYES = {
    "full": np.eye(3),
    "no red": np.array(
        [
            [0.152286, 1.052583, -0.204868],
            [0.114503, 0.786281, 0.099216],
            [-0.003882, -0.048116, 1.051998],
        ]
    ),
    "no green": np.array(
        [
            [0.367322, 0.860646, -0.227968],
            [0.280085, 0.672501, 0.047413],
            [-0.011820, 0.042940, 0.968881],
        ]
    ),
    "no blue": np.array(
        [
            [1.255528, -0.076749, -0.178779],
            [-0.078411, 0.930809, 0.147602],
            [0.004733, 0.691367, 0.303900],
        ]
    ),
}


def linear_light(colour: str) -> np.ndarray:
    """Red, green and blue as light, not as screen values (sRGB)."""
    screen = np.array([int(colour[place : place + 2], 16) for place in (1, 3, 5)]) / 255
    return np.where(screen <= 0.04045, screen / 12.92, ((screen + 0.055) / 1.055) ** 2.4)


def lab(light: np.ndarray) -> np.ndarray:
    """CIE L*a*b* under D65."""
    to_xyz = np.array(
        [[0.4124, 0.3576, 0.1805], [0.2126, 0.7152, 0.0722], [0.0193, 0.1192, 0.9505]]
    )
    x, y, z = np.cbrt(to_xyz @ np.clip(light, 0, 1) / np.array([0.9505, 1.0, 1.089]))
    return np.array([116 * y - 16, 500 * (x - y), 200 * (y - z)])


def test_series_are_told_apart_by_every_eye() -> None:
    for eye in EYES.values():
        seen = [lab(eye @ linear_light(colour)) for colour in style.SERIES]
        distances = [np.linalg.norm(a - b) for a, b in itertools.combinations(seen, 2)]
        assert min(distances) > 15


def test_text_stands_out_from_paper() -> None:
    def luminance(colour: str) -> float:
        return float(np.array([0.2126, 0.7152, 0.0722]) @ linear_light(colour))

    for ink in (style.INK, style.SOFT, style.NAVY):
        contrast = (luminance(style.PAPER) + 0.05) / (luminance(ink) + 0.05)
        assert contrast >= 4.5


def test_percents_along_an_axis_are_those_of_the_ticks() -> None:
    axes = Figure().subplots()
    style.write_percents(axes.yaxis)
    axes.set_yticks([0.0, 0.025, 0.05, 0.07])
    labels = [label.get_text() for label in axes.get_yticklabels()]
    assert labels == ["0 %", "2.5 %", "5 %", "7 %"]


def test_settings_of_the_session_stay() -> None:
    before = dict(mpl.rcParams)
    with style.own_style():
        assert mpl.rcParams["svg.fonttype"] == "none"
    assert dict(mpl.rcParams) == before


@given(st.lists(st.floats(min_value=-1, max_value=2), min_size=1, max_size=8))
def test_names_at_the_edge_keep_their_distance_and_order(heights: list[float]) -> None:
    placed = style.spread_apart(heights, 0.07)
    order = np.argsort(np.clip(heights, 0, 1), kind="stable")
    assert np.all(np.diff(placed[order]) >= 0.07 - 1e-9)
    assert placed.max() <= 1 + 1e-9
    assert placed.min() >= -1e-9


def test_names_that_have_room_stay_where_they_are() -> None:
    np.testing.assert_allclose(style.spread_apart([0.9, 0.2, 0.5], 0.07), [0.9, 0.2, 0.5])
