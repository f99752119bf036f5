"""Machines of `[[alternatives]]` with their prices, and the paddock worked with each."""

from dataclasses import replace

from hardpan.core.errors import HardpanError, SettingsError
from hardpan.core.units import MONEY, currency_of
from hardpan.costs.stage import tally
from hardpan.machines.stage import compare_machines
from hardpan.money import hired_for
from hardpan.money.stage import price_machines
from hardpan.options.stage import check_machine, weigh_options
from hardpan.prescription.stage import prescribe, settle_zones
from hardpan.records.alternatives import AlternativeSettings, MachineRow, Offer, Terms, Worked
from hardpan.records.catalog import Catalog
from hardpan.records.decision import DecisionSettings, MachineSettings
from hardpan.records.evidence import Evidence, Prepared
from hardpan.records.options import Options
from hardpan.records.plan import Plan
from hardpan.records.quantity import Quantity
from hardpan.records.zones import Zones
from hardpan.run.catalog import read_catalog
from hardpan.run.config import Config
from hardpan.run.outlook import fit_days_left
from hardpan.zones.stage import draw_zones

PRESENT = "present machine"
"""Name of the machine of `[machine]`, and of the contractor of `[prices]`, in tables."""
SHIPPED_OFFER = "contractor of [prices]"


def read_offers(config: Config, catalog: Catalog, soil_types: tuple[str, ...]) -> tuple[Offer, ...]:
    """Machines and offers of `[[alternatives]]`, checked and priced.

    Raises
    ------
    SettingsError
        Two have one name, one is both a machine and a contractor's offer or neither, lacks what its terms ask for, or
        cannot be used as the present machine could.
    """
    names = [one.name.strip() for one in config.alternatives]
    for name in names:
        if names.count(name) > 1 or name in {PRESENT, SHIPPED_OFFER}:
            raise SettingsError(
                what=f"the name {name!r} is taken", where="[[alternatives]]", do="give each a name of its own"
            )
    return tuple(_offer(one, config, catalog, soil_types) for one in config.alternatives)


def _offer(one: AlternativeSettings, config: Config, present: Catalog, soil_types: tuple[str, ...]) -> Offer:
    where = f'[[alternatives]] "{one.name}"'
    _refuse_unclear(one, where)
    try:
        catalog = _catalog(one, config, present)
        if one.rate_per_ha is None:
            check_machine(catalog, soil_types, asked=_asked(config, catalog, one))
        draws = {"n_draws": config.surfaces.draws, "seed": config.paddock.seed}
        rates = price_machines(catalog, config.season, soil_types, **draws)
    except HardpanError as err:
        place = f"{err.where.removeprefix('[machine] ')}: " if err.where else ""
        raise SettingsError(what=f"{place}{err.what}", where=where, right=err.right, do=err.do) from err
    new = _new_parts(one)
    if one.hire_per_h is not None:
        rates = hired_for(rates, new, in_currency(one.hire_per_h, catalog.prices.currency).value)
    bought = one.terms in {Terms.BOUGHT, Terms.UPGRADED} and one.rate_per_ha is None
    return Offer(
        name=one.name.strip(),
        terms=Terms.CONTRACTOR if one.rate_per_ha is not None else Terms(one.terms),
        catalog=catalog,
        rates=rates,
        waiting_days=one.waiting,
        ha_per_h=float("nan") if one.ha_per_h is None else one.ha_per_h,
        paid=new if bought else (),
        new_share=_new_share(one, catalog, new),
    )


def _new_share(one: AlternativeSettings, catalog: Catalog, new: tuple[str, ...]) -> float:
    """Share of what owning the new parts costs that was not paid for the present machine."""
    if one.price is None:
        return 1.0
    return one.price.value / float(getattr(catalog, new[-1]).list_price.value)


def _refuse_unclear(one: AlternativeSettings, where: str) -> None:
    """Refuse what is both a machine and a contractor's offer, or neither, and prices its terms do not go with."""
    machine = [key for key in ("tractor", "ripper", "setup", "setups", "hire_per_h", "price") if getattr(one, key)]
    if one.rate_per_ha is not None:
        if machine:
            raise SettingsError(
                what=f"rate_per_ha and {', '.join(machine)} are both given", where=where,
                right="a contractor's offer (rate_per_ha, fuel, deepest, waiting, ha_per_h) or a machine",
                do="make two of it",
            )  # fmt: skip
        return
    for key, terms in (("price", "upgraded"), ("hire_per_h", "hired")):
        if (getattr(one, key) is not None) != (one.terms == terms):
            lacks = "is missing" if one.terms == terms else f"is given, but terms = {one.terms!r}"
            raise SettingsError(what=f"{key} {lacks}", where=where, right=f"{key} with terms = {terms!r}, only there")
    if not machine:
        raise SettingsError(
            what="neither a machine nor an offer", where=where, right="tractor, ripper, setup, or rate_per_ha"
        )
    if given := [key for key in ("fuel", "deepest", "ha_per_h") if getattr(one, key) is not None]:
        raise SettingsError(
            what=f"{', '.join(given)} belong to a contractor's offer", where=where, do="give rate_per_ha"
        )


def _new_parts(one: AlternativeSettings) -> tuple[str, ...]:
    """What differs from the present machine; fittings belong to the ripper."""
    parts = tuple(part for part in ("tractor", "ripper") if getattr(one, part) is not None)
    return parts or (("ripper",) if one.terms != "bought" else ())


def _catalog(one: AlternativeSettings, config: Config, present: Catalog) -> Catalog:
    """Catalogue with the machine, or the contractor's offer, of an alternative."""
    if one.rate_per_ha is not None:
        rate = in_currency(one.rate_per_ha, present.prices.currency)
        if rate.span[0] < 0 or (one.fuel is not None and not 0 <= one.fuel.span[0] <= one.fuel.span[1] <= 1):
            raise SettingsError(what="a rate below 0, or a share of fuel outside 0 to 1", right="0 or more, 0 to 1")
        least = present.ripper.min_depth.value
        if one.deepest is not None and one.deepest.value < least:
            raise SettingsError(
                what=f"deepest = {one.deepest.value:g} mm is no depth to rip to", right=f"{least:g} mm or more",
                do='a number without unit is mm: "55 cm" is one in cm',
            )  # fmt: skip
        deepest = present.prices.contractor_depth if one.deepest is None else one.deepest
        offered = {"contractor_per_ha": rate, "contractor_fuel": one.fuel, "contractor_depth": deepest}
        return present.model_copy(update={"prices": present.prices.model_copy(update=offered)})
    machine = MachineSettings(
        tractor=config.machine.tractor if one.tractor is None else one.tractor,
        ripper=config.machine.ripper if one.ripper is None else one.ripper,
        setups={**config.machine.setups, **one.setups},
        setup=one.setup,
    )
    catalog = read_catalog(config.model_copy(update={"machine": machine}))
    return catalog if one.price is None else _dearer(catalog, present, _new_parts(one)[-1], one.price)


def _dearer(catalog: Catalog, present: Catalog, part: str, price: Quantity) -> Catalog:
    """Catalogue in which a part costs what the present one does and an upgrade."""
    old, paid = getattr(present, part).list_price, in_currency(price, present.prices.currency)
    both = zip(("low", "value", "high"), old.ends, paid.ends, strict=True)
    whole = old.model_copy(update={end: was + more for end, was, more in both})
    return catalog.model_copy(update={part: getattr(catalog, part).model_copy(update={"list_price": whole})})


def in_currency(price: Quantity, currency: str) -> Quantity:
    """A price without a currency of its own, in that of all others.

    Raises
    ------
    SettingsError
        It is in another.
    """
    found = price.model_copy(update={"unit": price.unit.replace(MONEY, currency)})
    if currency_of(found.unit)[0] not in {None, currency}:
        raise SettingsError(what=f"a price in {found.unit}, but money is in {currency}", right=f"prices in {currency}")
    return found


def _asked(config: Config, catalog: Catalog, one: AlternativeSettings) -> DecisionSettings:
    """What is asked of the decision; a pass measured with the present machine is no pass of another."""
    machine = MachineSettings(tractor=catalog.tractor_name, ripper=catalog.ripper_name, setup=one.setup)
    return config.decision.model_copy(update={"machine": machine})


def try_alternatives(
    evidence: Evidence, options: Options, zones: Zones, plan: Plan, *, ready: Prepared, config: Config
) -> tuple[MachineRow, ...]:
    """The present machine, the contractor of `[prices]` and every alternative, each at its best depths and area.

    A machine gets zones of its own; a contractor is tried on those of the plan. Draft, pan and money are the draws of
    the plan. Nothing where no alternative is given.
    """
    if not ready.offers:
        return ()
    catalog, rates, asked = ready.catalog, ready.rates, config.decision
    own = Offer(name=PRESENT, terms=Terms.PRESENT, catalog=catalog, rates=rates, paid=("tractor", "ripper"))
    present = _worked(own, plan, options, asked, ready)
    others = list[Worked]()
    if catalog.prices.contractor_per_ha is not None:
        shipped = Offer(name=SHIPPED_OFFER, terms=Terms.CONTRACTOR, catalog=catalog, rates=rates)
        others.append(replace(present, offer=shipped))
    for offer, one in zip(ready.offers, config.alternatives, strict=True):
        if offer.terms is Terms.CONTRACTOR:
            done = prescribe(zones, options, evidence, offer.catalog, offer.rates, asked=asked)
            others.append(_worked(offer, done, options, asked, ready))
        else:
            others.append(
                _alone(offer, _asked(config, offer.catalog, one), evidence, options, ready=ready, config=config)
            )
    return compare_machines(present, others, season=config.season)


def _alone(
    offer: Offer, asked: DecisionSettings, evidence: Evidence, options: Options, *, ready: Prepared, config: Config
) -> Worked:
    """The paddock worked with another machine, in zones of its own."""
    own = weigh_options(evidence, offer.catalog, offer.rates, asked=asked, draft=options.draft)
    seed = config.paddock.seed
    zones = draw_zones(evidence, own, offer.catalog, config.zones, asked=asked.prescription, seed=seed)
    _, plan = settle_zones(zones, own, evidence, offer.catalog, offer.rates, asked=asked)
    return _worked(offer, plan, own, asked, ready)


def _worked(offer: Offer, plan: Plan, options: Options, asked: DecisionSettings, ready: Prepared) -> Worked:
    """The plan with its ledger, and the fit days there are for its depths."""
    ledger = tally(plan, options, offer.catalog, offer.rates, asked=asked)
    return Worked(offer=offer, plan=plan, ledger=ledger, fit_days=fit_days_left(ready, plan, ledger, asked.season))
