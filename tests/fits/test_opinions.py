"""Second opinions: a fit that the libraries don't share is named."""

from types import SimpleNamespace

import numpy as np
import pandas as pd

from pumplife.fits.opinions import say_second_opinions
from pumplife.records.audit import AuditLog
from pumplife.weibull.estimate import fit_weibull


def test_a_fit_that_differs_by_more_than_one_per_cent_is_noted():
    life = 1000.0 * np.random.default_rng(5).weibull(2.0, size=30)
    ours = fit_weibull(life, life)
    rows = SimpleNamespace(
        group=np.zeros(30, int), lower=life, upper=life, entry=np.zeros(30), weight=np.ones(30)
    )
    about = {"failures": 30.0, "material": "CR", "part": "ball", "service": "slip"}
    about |= {"likely_scale": float(np.ravel(ours.scale)[0])}
    told = []
    for times in (1.0, 1.05):
        log = AuditLog()
        shape = times * float(np.ravel(ours.shape)[0])
        table = pd.DataFrame([about | {"likely_shape": shape}])
        say_second_opinions(SimpleNamespace(log=log), table, rows)
        told.append(set(log.frame()["rule"]))
    assert told == [set(), {"second_opinion"}]
