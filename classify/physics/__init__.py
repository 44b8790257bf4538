"""What physics expects of an arrow: its parts go in, frequencies, balance and flight come out.

It never looks at a clip: prediction and measurement meet only in `classify.label`.
"""

from classify.physics.alias import folded_band, folded_hz, possible_true_hz
from classify.physics.arrow import (
    Arrow,
    bending_hz,
    bending_nodes_m,
    centre_of_mass_m,
    complete,
    foc_percent,
    inertia_kg_m2,
    mass_kg,
)
from classify.physics.beam import (
    end_mass_roots,
    lumped_roots,
    mode_nodes,
    mode_shape,
    root_to_hz,
)
from classify.physics.flight import (
    AIR_KG_PER_M3,
    distance_after_m,
    drag_per_m,
    flight_time_s,
    reynolds,
    speed_after_m_s,
)
from classify.physics.prediction import broad_prediction, mm_per_degree, predict, yaw_is_usual
from classify.physics.spine import (
    OLDER_SPINE_RATIO,
    older_to_standard_spine,
    spine_to_stiffness,
    stiffness_to_spine,
)
from classify.physics.yaw import Yaw, fin_lift_slope, yaw_motion

__all__ = [
    "AIR_KG_PER_M3",
    "OLDER_SPINE_RATIO",
    "Arrow",
    "Yaw",
    "bending_hz",
    "bending_nodes_m",
    "broad_prediction",
    "centre_of_mass_m",
    "complete",
    "distance_after_m",
    "drag_per_m",
    "end_mass_roots",
    "fin_lift_slope",
    "flight_time_s",
    "foc_percent",
    "folded_band",
    "folded_hz",
    "inertia_kg_m2",
    "lumped_roots",
    "mass_kg",
    "mm_per_degree",
    "mode_nodes",
    "mode_shape",
    "older_to_standard_spine",
    "possible_true_hz",
    "predict",
    "reynolds",
    "root_to_hz",
    "speed_after_m_s",
    "spine_to_stiffness",
    "stiffness_to_spine",
    "yaw_is_usual",
    "yaw_motion",
]
