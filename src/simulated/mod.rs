//! A rig with a plant behind it. It shares no formula with `analysis`: an estimator tested only against its own model proves nothing.
