//! Holds the milestones to a second opinion: Python reads the journal's own lines and computes them anew.
