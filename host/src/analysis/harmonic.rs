//! The five-term deviation curve.
