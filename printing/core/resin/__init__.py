"""What a resin lot holds, from its weighings and assays. PURE."""
