//! A serial line with a speed: what is read at another speed than it was sent is garbled as a UART garbles it.

use std::path::PathBuf;
use std::time::Duration;
use tokio::io::AsyncWriteExt;
use tokio_serial::{SerialPort, SerialStream};

/// What a UART reads at one speed of bytes sent at another: one start bit, eight data bits, lowest first, one stop bit.
/// A byte whose stop bit is none is left out, as the kernel does for lines that ignore framing errors (termios(3), IGNPAR).
pub fn garbled(sent: &[u8], baud: u32, read_at: u32) -> Vec<u8> {
    let bits: Vec<bool> = sent
        .iter()
        .flat_map(|byte| {
            let data = (0..8).map(move |n| byte >> n & 1 == 1);
            std::iter::once(false).chain(data).chain([true])
        })
        .collect();
    // The line rests high.
    let level = |t: f64| bits.get((t * f64::from(baud)) as usize).copied().unwrap_or(true);
    let (bit, end) = (1.0 / f64::from(read_at), bits.len() as f64 / f64::from(baud));
    let mut read = Vec::new();
    let mut t = 0.0;
    while t < end {
        if level(t) {
            t += bit / 16.0;
            continue;
        }
        let byte = (0..8).fold(0, |byte, n| byte | u8::from(level(t + bit * (1.5 + f64::from(n)))) << n);
        if level(t + bit * 9.5) {
            read.push(byte);
        }
        t += bit * 9.5;
    }
    read
}

/// A talker on a pseudo-terminal that says the same over and over, ten times a second.
pub struct Talker {
    pub path: PathBuf,
    _runtime: tokio::runtime::Runtime,
}

impl Talker {
    /// `says` sentences at a speed.
    pub fn start(says: &str, baud: u32) -> Self {
        let says = says.as_bytes().to_vec();
        let runtime =
            tokio::runtime::Builder::new_multi_thread().worker_threads(1).enable_all().build().unwrap();
        let entered = runtime.enter();
        let (mut far, near) = SerialStream::pair().unwrap();
        drop(entered);
        let path = PathBuf::from(near.name().unwrap());
        drop(near);
        runtime.spawn(async move {
            loop {
                // The far end is told the speed the near end is opened at.
                let read_at = far.baud_rate().unwrap_or(baud);
                let heard = if read_at == baud { says.clone() } else { garbled(&says, baud, read_at) };
                // Nobody may have it open.
                let _ = tokio::time::timeout(Duration::from_millis(50), far.write_all(&heard)).await;
                tokio::time::sleep(Duration::from_millis(100)).await;
            }
        });
        Self { path, _runtime: runtime }
    }
}
