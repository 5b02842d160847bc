"""The open job in memory, its changes and its longer tasks."""
