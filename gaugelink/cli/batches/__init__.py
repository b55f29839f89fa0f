"""What `gaugelink batch` can do, one module a command."""
