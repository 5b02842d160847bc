"""The condition report and the bench log."""
