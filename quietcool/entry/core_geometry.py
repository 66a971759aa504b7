"""A radiator from the shape of its core: an estimate for sheets that print dimensions and nothing else.

Flat tubes run along the longer side of the face, corrugated fins stand between them, coolant passes the core in
one or more passes. What comes out are the numbers that a sheet would print; one measured point can then scale them
(`scaled_to_pressure_drop`, `scaled_to_conductance`), and should: unscaled they are good to about 25 % in heat and 40 %
in pressure drop (common practice, no source).
"""

from __future__ import annotations

import math
from typing import Literal, NamedTuple

import numpy as np
from numpy.typing import NDArray

from quietcool.physics import air, channels, coolant, louvers
from quietcool.physics.exchangers import radiator_conductance
from quietcool.physics.resistance import fit_forchheimer, forchheimer_pressure_drop, friction_factor

Floats = NDArray[np.float64]

FACE_VELOCITIES = np.geomspace(0.3, 2.0, 9)  # where quiet rigs live; the two air-side fits are made there [m/s]
COOLANT_FLOWS = np.geomspace(1.0, 6.0, 9) / 60e3  # [m3/s]
REFERENCE_VELOCITY = 1.0  # [m/s]
REFERENCE_FLOW = 4.0 / 60e3  # [m3/s]

# Edges of the channels, on the velocity in the free area; headers, on the velocity in a tube and a pass (sharp entry,
# exit into a wide header): common practice, no source.
CONTRACTION_LOSS = 0.4
EXPANSION_LOSS = 0.2
HEADER_LOSS = 1.5


class CoreGeometry(NamedTuple):
    """Shape of a core. The defaults are those of ordinary cores (common practice, no source)."""

    face_length: float  # along the tubes [m]
    face_height: float  # across them [m]
    depth: float  # of the fins, in the direction of the air [m]
    fin_pitch: float  # centre to centre; 25.4 mm over the fins per inch [m]
    fin_kind: Literal["louvered", "plain"] = "louvered"
    fin_height: float = 8e-3  # between two tubes [m]
    fin_thickness: float = 8e-5  # [m]
    fin_conductivity: float = 390.0  # copper; aluminium 200 to 240 [W/(m K)]
    tube_height: float = 2e-3  # outside [m]
    tube_wall: float = 3e-4  # [m]
    tube_count: int | None = None  # None: as many as the face holds with fins on both sides of each
    passes: int = 2
    louver_pitch: float = 1.1e-3  # [m]
    louver_angle: float = math.radians(27.0)  # [rad]
    louver_share: float = 0.85  # length of a louver over the height of the fin [-]

    @property
    def tubes(self) -> int:
        """Number of flat tubes."""
        if self.tube_count is not None:
            return self.tube_count
        return max(1, int((self.face_height - self.fin_height) / (self.fin_height + self.tube_height) + 1e-9))

    @property
    def louvers(self) -> louvers.LouverFin:
        """The fin as the correlations want it; a plain fin shares its channel."""
        return louvers.LouverFin(
            fin_pitch=self.fin_pitch,
            fin_length=self.fin_height,
            fin_thickness=self.fin_thickness,
            flow_depth=self.depth,
            louver_length=self.louver_share * self.fin_height,
            louver_pitch=self.louver_pitch,
            louver_angle=self.louver_angle,
            tube_height=self.tube_height,
            tube_pitch=self.fin_height + self.tube_height,
        )

    @property
    def slot(self) -> tuple[float, float]:
        """Height and width of the coolant's way inside a tube [m]."""
        height = self.tube_height - 2.0 * self.tube_wall
        return height, self.depth - 2.0 * self.tube_wall - height  # rounded ends count as half a height each


class CoreEstimate(NamedTuple):
    """What a sheet would print, estimated."""

    a: float  # air side, viscous [Pa s/m]
    b: float  # air side, inertial [Pa s2/m2]
    ua_air: float  # at `ua_air_velocity` and 1.2 kg/m3 [W/K]
    ua_air_velocity: float  # [m/s]
    ua_air_exponent: float  # [-]
    ua_coolant: float  # at `ua_coolant_flow` [W/K]
    ua_coolant_flow: float  # [m3/s]
    ua_coolant_exponent: float  # [-]
    coolant_a: float  # water, 30 degC [Pa s/m3]
    coolant_b: float  # water, 30 degC [Pa s2/m6]
    findings: tuple[str, ...] = ()  # what a user should know of it


def air_side(geometry: CoreGeometry, face_velocity: Floats, fluid: air.AirProperties) -> tuple[Floats, Floats]:
    """Pressure drop [Pa] and conductance, fins counted [W/K], at face velocities [m/s]."""
    fin = geometry.louvers
    sigma, diameter = fin.free_area_ratio, fin.hydraulic_diameter
    velocity = face_velocity / sigma
    prandtl = fluid.specific_heat * fluid.viscosity / fluid.conductivity
    if geometry.fin_kind == "louvered":
        re = fluid.density * velocity * geometry.louver_pitch / fluid.viscosity
        friction = louvers.friction_chang_2000(re, fin)
        colburn = louvers.colburn_chang_wang_1997(re, fin)
        film = colburn * fluid.density * velocity * fluid.specific_heat * prandtl ** (-2.0 / 3.0)
    else:
        sides = sorted((fin.fin_pitch - fin.fin_thickness, fin.fin_length - fin.fin_thickness))
        re, aspect = fluid.density * velocity * diameter / fluid.viscosity, sides[0] / sides[1]
        friction = channels.friction_developing(re, diameter / geometry.depth, aspect)
        developed = channels.nusselt_laminar_rectangular_t(aspect)
        nusselt = channels.nusselt_developing(re, prandtl, diameter / geometry.depth, developed)
        film = nusselt * fluid.conductivity / diameter
    pressure_drop = channels.core_pressure_drop(
        fluid.density * velocity,
        friction,
        free_area_ratio=sigma,
        area_ratio=4.0 * geometry.depth / diameter,
        density_in=fluid.density,
        density_out=fluid.density,
        contraction_loss=CONTRACTION_LOSS,
        expansion_loss=EXPANSION_LOSS,
    )
    area = 4.0 * geometry.depth / diameter * sigma * geometry.face_length * geometry.face_height
    height, pitch = fin.fin_length - fin.fin_thickness, fin.fin_pitch - fin.fin_thickness
    efficiency = channels.fin_efficiency(
        film, geometry.fin_conductivity, thickness=fin.fin_thickness, length=0.5 * geometry.fin_height
    )
    return pressure_drop, film * area * (1.0 - height / (height + pitch) * (1.0 - efficiency))


def coolant_side(
    geometry: CoreGeometry, flow: Floats, fluid: coolant.CoolantProperties
) -> tuple[Floats, Floats, Floats]:
    """Pressure drop [Pa], conductance [W/K] and Reynolds number in the tubes [-], at coolant flows [m3/s]."""
    height, width = geometry.slot
    area, diameter, aspect = height * width, 2.0 * height * width / (height + width), height / width
    velocity = flow / (geometry.tubes / geometry.passes * area)
    re = fluid.density * velocity * diameter / fluid.viscosity
    prandtl = fluid.specific_heat * fluid.viscosity / fluid.conductivity
    # Between laminar and turbulent both are mixed by the Reynolds number, so that nothing jumps.
    start, end = channels.LAMINAR_END, channels.TURBULENT_START
    share = np.clip((re - start) / (end - start), 0.0, 1.0)
    smooth = friction_factor(np.maximum(re, end))
    turbulent = channels.nusselt_gnielinski_1976(np.maximum(re, end), prandtl, smooth)
    nusselt = (1.0 - share) * channels.nusselt_laminar_rectangular_h1(aspect) + share * turbulent
    friction = (1.0 - share) * 4.0 * channels.friction_laminar_rectangular(aspect) / re + share * smooth
    length = geometry.face_length * geometry.passes
    losses = friction * length / diameter + HEADER_LOSS * geometry.passes
    surface = geometry.tubes * 2.0 * (height + width) * geometry.face_length
    film = nusselt * fluid.conductivity / diameter
    return losses * 0.5 * fluid.density * velocity**2, film * surface, re


def _power_law(flow: Floats, conductance: Floats, reference: float) -> tuple[float, float]:
    """Conductance at the reference flow and exponent, by least squares on logarithms."""
    exponent, level = np.polyfit(np.log(flow / reference), np.log(conductance), 1)
    return float(np.exp(level)), max(0.0, float(exponent))


def core_geometry_estimate(geometry: CoreGeometry) -> CoreEstimate:
    """Numbers of a radiator's sheet from the shape of its core, for the reference air and for water at 30 degC."""
    height, width = geometry.slot
    if min(height, width, geometry.fin_pitch - geometry.fin_thickness) <= 0.0 or geometry.tubes < geometry.passes:
        raise ValueError("the core leaves no way for air or coolant: check walls, fin pitch, depth, tubes and passes")
    drop, ua_air = air_side(geometry, FACE_VELOCITIES, air.REFERENCE_AIR)
    fit = fit_forchheimer(FACE_VELOCITIES, drop)
    ua_air_reference, air_exponent = _power_law(FACE_VELOCITIES, ua_air, REFERENCE_VELOCITY)
    coolant_drop, ua_coolant, re = coolant_side(geometry, COOLANT_FLOWS, coolant.WATER_30)
    coolant_fit = fit_forchheimer(COOLANT_FLOWS, coolant_drop)
    ua_coolant_reference, coolant_exponent = _power_law(COOLANT_FLOWS, ua_coolant, REFERENCE_FLOW)
    return CoreEstimate(
        float(fit.a),
        float(fit.b),
        ua_air_reference,
        REFERENCE_VELOCITY,
        air_exponent,
        ua_coolant_reference,
        REFERENCE_FLOW,
        coolant_exponent,
        float(coolant_fit.a),
        float(coolant_fit.b),
        tuple(_findings(geometry, re)),
    )


def _findings(geometry: CoreGeometry, coolant_re: Floats) -> list[str]:
    """What lies outside the correlations' ranges."""
    found = []
    if geometry.fin_kind == "louvered":
        scale = (
            geometry.louver_pitch / geometry.louvers.free_area_ratio * air.REFERENCE_DENSITY / air.REFERENCE_VISCOSITY
        )
        low, high = FACE_VELOCITIES[0] * scale, FACE_VELOCITIES[-1] * scale
        if low < louvers.REYNOLDS_RANGE[0] or high > louvers.REYNOLDS_RANGE[1]:
            found.append(
                f"louver Reynolds numbers of {low:.0f} to {high:.0f} reach outside the correlations' range of "
                f"{louvers.REYNOLDS_RANGE[0]:.0f} to {louvers.REYNOLDS_RANGE[1]:.0f}"
            )
    if coolant_re[0] < channels.LAMINAR_END < coolant_re[-1]:
        found.append("the coolant turns turbulent within its usual flows; one power law blurs that")
    return found


def scaled_to_pressure_drop(estimate: CoreEstimate, face_velocity: float, pressure_drop: float) -> CoreEstimate:
    """Scale a and b so that the estimate passes through one measured air-side point ([m/s], [Pa])."""
    factor = pressure_drop / float(forchheimer_pressure_drop(face_velocity, estimate.a, estimate.b))
    return estimate._replace(a=factor * estimate.a, b=factor * estimate.b)


def scaled_to_conductance(
    estimate: CoreEstimate, geometry: CoreGeometry, face_velocity: float, coolant_flow: float, conductance: float
) -> CoreEstimate:
    """Scale the air-side conductance so that one measured point of heat per kelvin is met ([m/s], [m3/s], [W/K]).

    The air side carries nearly all of the resistance and nearly all of the doubt; the coolant side stays.
    """
    from scipy.optimize import brentq  # slow to load, needed for such sheets only

    water, area = coolant.WATER_30, geometry.face_length * geometry.face_height

    def surplus(log_factor: float) -> float:
        return conductance - float(
            radiator_conductance(
                air.REFERENCE_DENSITY * area * face_velocity,
                coolant_flow,
                face_area=area,
                ua_air=math.exp(log_factor) * estimate.ua_air,
                ua_air_velocity=estimate.ua_air_velocity,
                ua_air_exponent=estimate.ua_air_exponent,
                ua_coolant=estimate.ua_coolant,
                ua_coolant_flow=estimate.ua_coolant_flow,
                ua_coolant_exponent=estimate.ua_coolant_exponent,
                coolant_capacity_rate=float(water.density * water.specific_heat) * coolant_flow,
                air_specific_heat=air.SPECIFIC_HEAT,
            )
        )

    span = math.log(10.0)
    if not surplus(span) < 0.0 < surplus(-span):
        raise ValueError(f"no air side within a tenth and ten times the estimate gives {conductance:.4g} W/K there")
    return estimate._replace(ua_air=math.exp(float(brentq(surplus, -span, span, xtol=1e-13))) * estimate.ua_air)
