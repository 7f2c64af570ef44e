//! A sum by which a flipped bit is seen. SQLite notices damage to its own structure, not to what it stores.

/// CRC-32 of ISO 3309, reflected, as in Ethernet.
pub(crate) fn crc32(bytes: &[u8]) -> u32 {
    let step = |crc: u32, byte: &u8| {
        (0..8).fold(crc ^ u32::from(*byte), |c, _| if c & 1 == 1 { (c >> 1) ^ 0xEDB8_8320 } else { c >> 1 })
    };
    !bytes.iter().fold(!0, step)
}

#[cfg(test)]
mod tests {
    #[test]
    fn check_value() {
        // The check value of CRC-32/ISO-HDLC over the digits 1 to 9 in the catalogue of parametrised CRC algorithms;
        // from memory, and Python's zlib.crc32 gives the same.
        assert_eq!(super::crc32(b"123456789"), 0xCBF4_3926);
    }
}
