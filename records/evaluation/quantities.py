"""Every quantity that a finding can be about: unit, and what a value outside its limits says about."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Literal

Judges = Literal["unit", "test"]


@dataclass(frozen=True)
class Quantity:
    """Name, unit's symbol, whether a value outside its limits speaks of unit or test, and whether it is a count."""

    name: str
    unit: str
    judges: Judges
    is_count: bool = False


_ALL = (
    Quantity("held_voltage_kv", "kV", "test"),
    Quantity("held_s", "s", "test"),
    Quantity("disruptive_discharges", "", "unit", is_count=True),
    Quantity("inception_voltage_kv", "kV", "unit"),
    Quantity("extinction_voltage_kv", "kV", "unit"),
    Quantity("time_to_extinction_s", "s", "unit"),
    Quantity("apparent_charge_pc", "pC", "unit"),
    Quantity("background_noise_pc", "pC", "test"),
    Quantity("charge_scale_factor", "", "test"),
    Quantity("noise_after_pc", "pC", "test"),
    # pulses
    Quantity("repetition_rate_per_s", "1/s", "unit"),
    Quantity("average_discharge_current_a", "A", "unit"),
    Quantity("discharge_power_w", "W", "unit"),
    Quantity("quadratic_rate_c2_per_s", "C²/s", "unit"),
    # shape and course of a power-frequency voltage
    Quantity("crest_factor", "", "test"),
    Quantity("frequency_hz", "Hz", "test"),
    Quantity("polarity_difference_pct", "%", "test"),
    Quantity("total_harmonic_distortion_pct", "%", "test"),
    Quantity("ramp_rate_pct_per_s", "%/s", "test"),
    Quantity("voltage_drop_pct", "%", "test"),
    # lightning impulse
    Quantity("impulses", "", "test", is_count=True),
    Quantity("test_voltage_kv", "kV", "test"),
    Quantity("front_time_us", "µs", "test"),
    Quantity("time_to_half_value_us", "µs", "test"),
    Quantity("relative_overshoot_pct", "%", "test"),
    Quantity("time_to_chopping_us", "µs", "test"),
    Quantity("voltage_difference_pct", "%", "unit"),
    Quantity("current_difference_pct", "%", "unit"),
    # frequency response
    Quantity("resonance_hz", "Hz", "unit"),
    Quantity("parallel_resonance_hz", "Hz", "unit"),
    Quantity("tuned_order", "", "unit"),
    Quantity("quality_factor", "", "unit"),
    Quantity("inductance_mh", "mH", "unit"),
    Quantity("capacitance_uf", "µF", "unit"),
    Quantity("resistance_ohm", "Ω", "unit"),
    Quantity("correlation", "", "unit"),
    Quantity("log_error_db", "dB", "unit"),
    # resistance, insulation, loss, heating
    Quantity("resistance_at_reference_ohm", "Ω", "unit"),
    Quantity("resistance_unbalance_pct", "%", "unit"),
    Quantity("insulation_resistance_mohm", "MΩ", "unit"),
    Quantity("insulation_resistance_10min_mohm", "MΩ", "unit"),
    Quantity("polarization_index", "", "unit"),
    Quantity("dissipation_factor", "", "unit"),
    Quantity("dissipation_factor_tip_up", "", "unit"),
    Quantity("dissipation_factor_change", "", "unit"),
    Quantity("capacitance_change_pct", "%", "unit"),
    Quantity("loss_w", "W", "unit"),
    Quantity("loss_at_reference_w", "W", "unit"),
    Quantity("temperature_rise_k", "K", "unit"),
    Quantity("hot_spot_rise_k", "K", "unit"),
)
QUANTITIES: Mapping[str, Quantity] = {quantity.name: quantity for quantity in _ALL}
