"""Terminal screens over the frozen values of `tui.opened`."""
