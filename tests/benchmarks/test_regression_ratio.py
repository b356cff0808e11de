"""How much faster a regression is than another library's, with the same answer."""

from __future__ import annotations

import time

import numpy as np
import pandas as pd
import pytest

from pumplife.weibull import fit_regression

ROWS, COLUMNS = 10_000, 10


@pytest.mark.filterwarnings("ignore")
def test_faster_than_lifelines():
    from lifelines import WeibullAFTFitter

    generator = np.random.default_rng(1)
    x = generator.normal(size=(ROWS, COLUMNS))
    life, until = np.exp(0.2 * x[:, 0]) * generator.weibull(2.5, ROWS), generator.random(ROWS) * 2.0
    age, failed = np.minimum(life, until), life <= until
    names = [f"x{place}" for place in range(COLUMNS)]
    taken = []
    for _ in range(9):
        started = time.process_time()
        fit = fit_regression(age, np.where(failed, age, np.inf), covariates=x, names=names)
        taken.append(time.process_time() - started)
    started = time.process_time()
    other = WeibullAFTFitter().fit(pd.DataFrame(x, columns=names).assign(t=age, d=failed), "t", "d")
    ratio = (time.process_time() - started) / min(taken)
    print(f"lifelines: {ratio:.0f} times ({min(taken) * 1e3:.0f} ms for {ROWS} lives)")
    assert fit.estimate[1:-1] == pytest.approx(other.params_["lambda_"][names], abs=1e-3)
    assert ratio >= 10
