"""Cautions where the work can hurt someone: they point to local rules and licensed practice, and replace neither."""

from __future__ import annotations

SCALD = (
    "Wort above 60 °C burns skin within seconds. Keep children and animals away, wear boots, gloves and long sleeves, "
    "and stir, sample and open valves slowly; a boiling kettle can foam over when hops or sugar go in."
)
MAINS = (
    "Mains power near water can kill. Use a circuit with residual-current protection, keep plugs and control boxes dry "
    "and above the liquid, and leave wiring and power measurements to a licensed electrician under your local code."
)
LIFT = (
    "A basket of wet grain is heavy, hot and drips. Lift it with a hoist that is rated for it or with a second person, "
    "and let it drain on its supports before you move it."
)
PRESSURE = (
    "Never heat or ferment in a sealed container: use vessels rated for pressure, with a relief valve. Closing hot "
    "wort into a container can make it burst or collapse, and wort kept warm without yeast can grow dangerous "
    "bacteria, also in the absence of air. Follow food-safety guidance of your authorities."
)

BREW_DAY = (SCALD, LIFT)
RIG = (MAINS, SCALD)
HOT_FILL = (PRESSURE,)
