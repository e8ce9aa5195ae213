"""The arrays the compiled code works on: named tuples of arrays, shared, per lane, and scratch."""

from __future__ import annotations

from typing import Any, NamedTuple

from amptrail.solve.elimination import Plan

Array = Any


class Static(NamedTuple):
    """What all lanes share. Offsets `at_*` point into the state vector (uint8)."""

    nodes: int
    ground: int
    gate: Array  # [branch] how it is switched
    unit: Array  # [branch] number of the switch, relay, driver, module, fuse or alternator
    closed: Array  # [phase, switch]; last row: `off` for the ohmmeter
    duration: Array  # [phase] s
    spins: Array  # [phase, alternator]
    parts: Array  # [part, 2] (0 relay, 1 module, 2 alternator; number) in sheet order
    coil: Array  # [relay] coil branch
    field: Array  # [alternator] field branch, -1: excited whenever spinning
    fuse_branch: Array
    mod_ground: Array  # [module] node
    mod_range: Array  # [module, 6] first/last+1 of supplies, inputs, items (signals and drivers)
    mod_awake: Array  # [module] signal number of `awake`, -1 none
    sup_node: Array
    in_node: Array
    in_low: Array  # [input] active low
    item_kind: Array  # [item] 0 signal 1 driver
    item_unit: Array  # [item] number of the signal or driver
    item_code: Array  # [item, 2] first and last+1 of its program
    code: Array  # [step, 3] operation, argument, second argument
    hold_s: Array  # [timer] s
    timer_mod: Array  # [timer]
    drv_branch: Array
    drv_asleep: Array  # [driver] runs while asleep
    pulsed: int  # drivers with a duty below 1
    drv_key: Array  # [driver] a trip is kept until the key is off
    key_on: Array  # [phase] 1: ignition on, cranking or running
    refs: Array  # [ref, 2] reference branch and its copied supply current
    plan: Array  # elimination of the healthy topology, packed
    at: Array  # offsets: relay alive awake driver trip fuse alternator input signal end


class Lane(NamedTuple):
    """One overlay: everything a fault, a feed or an instrument may change."""

    kind: Array  # [branch]
    na: Array
    nb: Array
    p: Array  # [branch, 4]
    series: Array  # [branch] ohm
    open: Array  # [branch]
    switch: Array  # [switch] -1 by phase, 0 open, 1 closed
    relay: Array  # [relay] -1 free, 0 stuck off, 1 stuck on
    driver: Array  # [driver] -1 free, 0 dead, 1 on
    module: Array  # [module] 0 free, 1 stays awake, 2 dead
    input: Array  # [input] 1 dead
    pull_drop: Array  # [relay, 2] V
    excite: Array  # [alternator] A
    rating: Array  # [fuse] A
    level: Array  # [input, 2] on_v, off_v
    limit: Array  # [driver] A
    least: Array  # [supply] V


class Work(NamedTuple):
    """Scratch of one thread."""

    plan: Plan
    g: Array  # [arm]
    J: Array
    own_g: Array  # [arm] what its branches put in
    own_j: Array
    left_g: Array  # [pair] what an eliminated pivot left between two of its neighbours
    left_j: Array
    stale: Array  # [pivot] to be eliminated again
    inverse: Array  # [pivot] 1/(sum of its arms)
    first: Array  # [arm] its first branch
    following: Array  # [branch] the next one of its arm
    bends: Array  # [branch] whether its tangent in the arms fits, misses, or is to be asked for
    bent: Array  # nonlinear branches that conduct
    curved: Array  # nonlinear branches that are there
    gated: Array  # branches that a state or a copied current changes
    moved: Array  # branches whose arms are to be summed again
    hangs: Array  # [pivot] scratch of `climb`
    climb: Array  # pivots that nonlinear branches hang on, ascending
    wide: Array  # pivots that those, relays, modules, drivers or alternators hang on, ascending
    known: Array  # [7] see `stamping`: what the lists above are worth
    bg: Array  # [branch]
    bj: Array
    extra: Array  # [branch] A that a law gives more than the tangent of it that is in the arms
    push: Array  # [node] those amperes, eliminated: 0 off `climb`
    br: Array
    law_a: Array  # [branch] current and slope of a nonlinear branch at x
    law_s: Array
    v: Array
    i: Array
    x: Array  # element voltages: the warm start
    state: Array
    new: Array
    prev: Array  # [timer] last committed argument
    until: Array  # [timer] s
    stack: Array
    seen: Array  # hashes of states met
    low: Array  # [node + branch] lowest over a chatter tour
    high: Array
    toured: Array  # [state] changed during the tour
    prior: Array  # [state] where the tour began
    other: Array  # [state] where a race ends when the parts switch in the opposite order
    raced: Array  # [state] where it ends in sheet order
    left: Array  # [node] A, what the branch currents leave over
    counts: Array  # sweeps, cold restarts, line searches, not converged, solves, unbalanced
    tap: Array  # [2] nodes whose difference `span` follows over a tour
    span: Array  # [2] lowest and highest difference, V
    since: Array  # [1] share of a pulsed driver's period that is over: those of a longer duty conduct
    heat: Array  # [1] root of the mean square between the tap's nodes over a period, V
    peak: Array  # [driver] the most it carries within a period, A
    warm: Array  # [fuse] root of the mean square over a period, A
