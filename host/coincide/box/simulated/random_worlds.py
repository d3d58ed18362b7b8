"""Worlds drawn at random, for recovering their truth: two unlike bodies of the kind asked for."""

from __future__ import annotations

from dataclasses import replace
from random import Random
from typing import Literal

from coincide.box.simulated.spec import BodySpec, ContactSpec, GateSpec, ReleaseSpec, ShutterSpec, WorldSpec

Behaviour = Literal["gaussian", "polling", "drifting", "first shot"]
Kind = Literal["focal plane", "leaf"]

BEHAVIOURS: tuple[Behaviour, ...] = ("gaussian", "polling", "drifting", "first shot")
KINDS: tuple[Kind, ...] = ("focal plane", "leaf")
MARKED_S = (2**-5, 2**-6, 2**-7, 2**-8)


def random_world(seed: int, *, kind: Kind | None = None, behaviour: Behaviour | None = None) -> WorldSpec:
    """A world drawn from `seed`; `kind` and `behaviour` are drawn too where not given.

    The behaviour falls on one body or both; every body has gaussian jitter of 0.2 to 1.5 ms besides. The
    shutters are of kinds the analysis models: constant curtain speed, linear blades, contacts in place.
    """
    random = Random(f"world {seed}")
    kind_drawn, behaviour_drawn = random.choice(KINDS), random.choice(BEHAVIOURS)
    kind = kind_drawn if kind is None else kind
    behaviour = behaviour_drawn if behaviour is None else behaviour
    bodies = random.choice(((True, False), (False, True), (True, True)))
    return WorldSpec(
        name=f"random {seed}",
        say=f"Drawn from {seed}: {kind}, {behaviour}.",
        body_a=_body(
            random,
            "Lapwing" if kind == "focal plane" else "Plover",
            kind,
            behaviour if bodies[0] else "gaussian",
        ),
        body_b=_body(
            random,
            "Bittern" if kind == "focal plane" else "Dunlin",
            kind,
            behaviour if bodies[1] else "gaussian",
        ),
        temperature_c=random.uniform(5.0, 30.0),
    )


def _body(random: Random, name: str, kind: Kind, behaviour: Behaviour) -> BodySpec:
    release = ReleaseSpec(
        kind=random.choice(("half+full", "full")),
        lag_s=random.uniform(0.030, 0.120),
        sigma_s=10 ** random.uniform(-3.7, -2.82),
    )
    # Every die is thrown whatever the behaviour: worlds of one seed differ in what was asked for only.
    polling_s, warmup_s = random.uniform(0.002, 0.010), random.uniform(0.001, 0.005) * random.choice((-1, 1))
    tau_s, first_s = random.uniform(30.0, 150.0), random.uniform(0.003, 0.012)
    if behaviour == "polling":
        release = replace(release, polling_s=polling_s)
    elif behaviour == "drifting":
        release = replace(release, warmup_s=warmup_s, warmup_tau_s=tau_s)
    elif behaviour == "first shot":
        release = replace(release, first_shot_s=first_s)
    return BodySpec(
        name=name,
        release=release,
        shutter=_shutter(random, kind),
        contact=ContactSpec(bounce_s=(0.0002, random.uniform(0.0004, 0.004)), bounces=random.randint(1, 5)),
        gates=(GateSpec(0.5), None),
    )


def _shutter(random: Random, kind: Kind) -> ShutterSpec:
    exposure_s = random.choice(MARKED_S) * 2 ** random.uniform(-1 / 6, 1 / 6)
    if kind == "leaf":
        return ShutterSpec(
            kind="leaf",
            exposure_s=max(exposure_s, 0.004),
            opening_s=random.uniform(0.0012, 0.0026),
            closing_s=random.uniform(0.0012, 0.0026),
            aperture_area=random.uniform(0.1, 1.0),
        )
    return ShutterSpec(exposure_s=exposure_s, travel_s=random.uniform(0.004, 0.014))
