//! How a user, or the system on a user's behalf, asks this program to end.

/// Waits until it is asked, and says how.
#[cfg(unix)]
pub async fn asked() -> &'static str {
    use tokio::signal::unix::{SignalKind, signal};
    let (Ok(mut interrupt), Ok(mut terminate), Ok(mut hangup), Ok(mut quit)) = (
        signal(SignalKind::interrupt()),
        signal(SignalKind::terminate()),
        signal(SignalKind::hangup()),
        signal(SignalKind::quit()),
    ) else {
        return std::future::pending().await;
    };
    tokio::select! {
        _ = interrupt.recv() => "Ctrl-C",
        _ = terminate.recv() => "the system asked this program to end",
        _ = hangup.recv() => "the terminal was closed",
        _ = quit.recv() => "Ctrl-\\",
    }
}

#[cfg(not(unix))]
pub async fn asked() -> &'static str {
    match tokio::signal::ctrl_c().await {
        Ok(()) => "Ctrl-C",
        Err(_) => std::future::pending().await,
    }
}
