"""The computation: orders, machines and stock in, plans and checks out.

Pure. Frozen dataclasses in, frozen dataclasses out; no web framework, database, network, file,
clock, or randomness without a seed. It imports nothing of ours outside this folder, so that the
workstation and the service plan alike.

Units: lengths are whole hundredths of a millimetre (:mod:`.quantities`), forces N, stresses
N/mm², masses kg, times s, angles degrees. A name that differs says so (``force_kn``).
"""

ENGINE_VERSION = "0.6.0"
"""Part of every plan's fingerprint: raised whenever the same input may give another plan."""
