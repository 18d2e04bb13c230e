"""Arrays in, result records out. numpy and scipy only."""
