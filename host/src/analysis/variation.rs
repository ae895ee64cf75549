//! Magnetic variation by the World Magnetic Model.
