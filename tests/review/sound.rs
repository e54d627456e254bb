//! Holds every account to what must be so of each: it names records that are there, in order, and leaves none out.
