"""What a reed is: blades, stations, zones, styles, stages, and what to do at each station."""
