"""The app's screens: the bench, the rack to choose from, help, and the words on safety."""
