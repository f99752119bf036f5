"""What a deeper pan changes in the return of each option."""

import numpy as np
import pytest

from hardpan.options import build_ground, economy_on, stakes_at


def stakes_on(made, catalog, bottom_mm):
    ground = made.ground(bottom_mm=bottom_mm, sd_mm=25.0, n_draws=100, side_m=(200.0, 100.0))
    money = made.rates(("deep sand",), n_draws=100)
    options, evidence, asked = made.weighed(ground, catalog, money)
    nodes = build_ground(evidence.surfaces, evidence.survey, catalog, asked.prescription)
    fitted = options.table.loc[options.fitted, ["option", "setup", "depth_mm", "spacing_mm"]]
    economy = economy_on(nodes, fitted, evidence, catalog, money, draft=options.draft, asked=asked, tines=options.tines)
    return options, stakes_at(economy, options)


def test_gains_less_costs_are_the_returns_of_the_options(made, catalog):
    options, stakes = stakes_on(made, catalog, 400.0)
    net = options.net[:, options.fitted]
    assert (stakes.gain - stakes.cost)[np.isfinite(net)] == pytest.approx(net[np.isfinite(net)])
    assert (stakes.chance == 1.0).all()


def test_slopes_are_what_the_gain_changes_when_every_bottom_lies_deeper(made, catalog):
    """Central differences over 8 mm; tolerance: Stein's lemma holds for a normal bottom, here of 100 draws a node."""
    _, stakes = stakes_on(made, catalog, 400.0)
    deeper, higher = (stakes_on(made, catalog, mm)[1].gain.mean(axis=0) for mm in (404.0, 396.0))
    found, rises = stakes.slope.mean(axis=0), (deeper - higher) / 8.0
    assert np.abs(rises).max() > 0.1
    assert found == pytest.approx(rises, abs=0.08 * np.abs(rises).max())
