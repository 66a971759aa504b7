"""Every picture of a rig, one function a figure. `look.py` says what a picture is."""

from __future__ import annotations

from quietcool.show.look import Picture as Picture
from quietcool.show.plot_air import air_map as air_map
from quietcool.show.plot_causes import causes_of_error as causes_of_error
from quietcool.show.plot_causes import error_causes as error_causes
from quietcool.show.plot_curves import fan_curves as fan_curves
from quietcool.show.plot_heat import heat_flow as heat_flow
from quietcool.show.plot_layouts import layouts_compared as layouts_compared
from quietcool.show.plot_plane import speed_plane as speed_plane
from quietcool.show.plot_ring import coolant_ring as coolant_ring
from quietcool.show.plot_sound import loudest as loudest
from quietcool.show.plot_sound import spectrum as spectrum
from quietcool.show.plot_tradeoff import Band as Band
from quietcool.show.plot_tradeoff import noise_over_temperature as noise_over_temperature
