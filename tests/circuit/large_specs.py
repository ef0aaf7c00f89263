"""Seeded invented specs of many parts, as a large board has them: modules of a few dozen nets fed from common rails.

Parts join nets near one another, as traces do; rails and ground are everywhere. Every net is declared complete but
the ground, so that the circuit around a part may speak for it.
"""

from __future__ import annotations

import random
from collections.abc import Iterator

__all__ = ["large_spec"]

#: of a hundred parts (common practice for a mixed board, no source)
_MIX = {"resistor": 52, "capacitor": 26, "electrolytic": 6, "diode": 7, "zener": 1, "bjt": 5, "mosfet": 3}
_MODULE_NETS = 24
_E12 = (1.0, 1.2, 1.5, 1.8, 2.2, 2.7, 3.3, 3.9, 4.7, 5.6, 6.8, 8.2)


def large_spec(parts: int, seed: int = 1) -> str:
    """Return a spec of so many parts on about half as many nets, the same for the same seed."""
    rng = random.Random(f"large {seed} {parts}")
    nets = [f"N{at}" for at in range(max(4, parts // 2))]
    lines = ['benchcheck = 1\n[board]\nmodel = "Ostrey large board"\nhazards = []\n']
    lines += [f"[net.{net}]\ncomplete = true\n" for net in (*nets, "VCC")]
    kinds = [kind for kind, share in _MIX.items() for _ in range(share)]
    for number in range(parts):
        # every net is met once in order, through a resistor from the net before: nothing is left hanging
        at = number if number < len(nets) else rng.randrange(len(nets))
        kind = "resistor" if number < len(nets) else rng.choice(kinds)
        lines += _part(number, kind, _near(at, nets, rng), rng)
    return "".join(lines)


def _near(at: int, nets: list[str], rng: random.Random) -> list[str]:
    """Return three different nets: this one and two of its module, or a rail."""
    first = at - at % _MODULE_NETS
    module = nets[first : first + _MODULE_NETS]
    chosen = [nets[at]]
    while len(chosen) < 3:
        rail = rng.random()
        net = "GND" if rail < 0.25 else "VCC" if rail < 0.35 else rng.choice(module)
        if net not in chosen:
            chosen.append(net)
    return chosen


def _part(number: int, kind: str, nets: list[str], rng: random.Random) -> Iterator[str]:
    one, other, third = nets
    yield f'[part.X{number}]\nkind = "{kind}"\n'
    match kind:
        case "resistor":
            value = f"{rng.choice(_E12) * 10 ** rng.randint(1, 5):.3g} ohm"
            yield f'value = "{value}"\ntolerance = "1 %"\nnets = ["{one}", "{other}"]\n'
        case "capacitor":
            yield f'value = "{rng.choice(_E12) * 10:.3g} nF"\ntolerance = "10 %"\nnets = ["{one}", "{other}"]\n'
        case "electrolytic":
            yield f'value = "{rng.choice((10, 47, 100, 220))} uF"\ntolerance = "20 %"\nrated_voltage = "25 V"\n'
            yield f'nets = {{ plus = "{one}", minus = "{other}" }}\n'
        case "zener":
            yield f'value = "5.1 V"\nnets = {{ anode = "{one}", cathode = "{other}" }}\n'
        case "diode":
            yield f'nets = {{ anode = "{one}", cathode = "{other}" }}\n'
        case "bjt":
            yield f'polarity = "{rng.choice(("NPN", "PNP"))}"\n'
            yield f'nets = {{ base = "{one}", collector = "{other}", emitter = "{third}" }}\n'
        case _:
            yield f'channel = "{rng.choice("NP")}"\n'
            yield f'nets = {{ gate = "{one}", drain = "{other}", source = "{third}" }}\n'
