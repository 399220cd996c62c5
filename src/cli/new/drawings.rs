//! What each number is, drawn.

pub const CHORD: &str = r"
            hinge line               trailing edge, where
                │                    the throw is measured
                │                          │
  ══════════════o──────────────────────────┤
   fixed part   │◄──────── chord ─────────►│
";

pub const THROW: &str = r"
                                     _.◄ trailing edge, deflected
                               _.-´    │
                         _.-´          │ throw: with a ruler, at the
                   _.-´                │        trailing edge
  ══════════════o──────────────────────┘
            hinge line                 trailing edge at neutral

  straight: from trailing edge to trailing edge
  square:   square to the neutral chord line
";

pub const LINKAGE: &str = r"
             rod, hole to hole
        o──────────────────────────o
        │                          │
    arm │                          │ horn
        │                          │
        ●───────── base ───────────●
   output shaft               hinge line
   of the servo
";

pub const AIR: &str = r"
      ┌──────────────────────────────┐  ▲
      │             wing             │  │ wing chord,
      │                              │  │ surface
      ├──────────┬────────────┬──────┤  │ included
      └──────────┤  surface   ├──────┘  ▼
                 └────────────┘
                 ◄─── span ───►
";
