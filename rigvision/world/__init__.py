"""What is true before the photo: gauges, frames with their drives, cameras."""
