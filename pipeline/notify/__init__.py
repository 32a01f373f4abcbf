"""What a job's owner is told when its state changed: by a command, whatever that does with it."""
