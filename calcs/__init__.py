"""Wellhold's calculations: a pure library without Django, files, clock or randomness.

Unit system: SI throughout (Pa, m³, m, K, kg/m³, Pa/m, s, N, m²). Pressures are gauge unless a name
says ``abs``; the gas laws take absolute pressure and say so. `calcs.units` alone knows field units.
"""
