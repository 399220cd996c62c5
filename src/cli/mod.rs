//! Arguments; one file a command, thin.
