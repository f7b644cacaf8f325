"""The electrical kernel: pure functions on floats and numpy arrays, no framework, no database, no clock.

| module | answers |
|---|---|
| `gauges` | what area does a typed size mean, and which gauge is an area |
| `conductors` | resistance, conductor temperature, voltage drop |
| `ampacity` | how much current a conductor may carry, by insulation class, ambient and bundle |
| `sizing` | the smallest gauge that meets drop and ampacity together |
| `thermal` | time constants, time under overload, short-circuit withstand |
| `loads` | the steady current that heats a conductor as much as an intermittent load does |
| `protection` | device rating, continuous load, interrupt rating, opening times |
| `bands` | when a device opens, soonest and latest, by its own time-current points |
| `faults` | short circuits: current, what the wire bears, what the device lets through, which device opens first |
| `terminations` | does the wire fit the barrel, the stud the hole, did the pull test pass |
| `network` | every voltage and current of a robot's feed tree, or that its voltage collapses |
| `match` | a whole match in time: lowest voltages, heat, charge, the chance of a brown-out |
| `battery` | state of charge from rest voltage, resistance readings, short-circuit current |

Every table is data under `tables`, with its source and status beside it. Functions return arrays; NaN or
`Verdict.UNKNOWN` mean "cannot judge". The figures advise; they do not certify: the event's rules, local codes
and a qualified person come first.
"""
