//! CRC-32/ISO-HDLC with a table of sixteen entries: 64 bytes of flash, where a byte-wide table
//! takes a kilobyte.
//!
//! Reflected polynomial 0x04C11DB7, as in the CRC catalogue: check value 0xCBF43926. The `crc`
//! crate is the oracle of its tests. It finds damage; it does not prove who sent something.

/// Remainders of the sixteen values of four bits.
const TABLE: [u32; 16] = table();

const fn table() -> [u32; 16] {
    let mut table = [0; 16];
    let mut value = 0;
    while value < 16 {
        let mut remainder = value as u32;
        let mut bit = 0;
        while bit < 4 {
            let is_odd = remainder & 1 == 1;
            remainder >>= 1;
            if is_odd {
                remainder ^= 0xEDB8_8320;
            }
            bit += 1;
        }
        table[value] = remainder;
        value += 1;
    }
    table
}

/// The algorithm.
#[derive(Clone, Copy, Debug)]
pub struct Crc32;

/// A checksum under way.
#[derive(Clone, Copy, Debug)]
pub struct Digest(u32);

impl Crc32 {
    /// Checksum of `bytes`.
    pub fn checksum(self, bytes: &[u8]) -> u32 {
        let mut digest = self.digest();
        digest.update(bytes);
        digest.finalize()
    }

    /// The checksum of nothing yet.
    pub const fn digest(self) -> Digest {
        Digest(u32::MAX)
    }
}

impl Digest {
    /// Takes further bytes.
    pub fn update(&mut self, bytes: &[u8]) {
        let mut remainder = self.0;
        for byte in bytes {
            remainder ^= u32::from(*byte);
            remainder = (remainder >> 4) ^ TABLE[(remainder & 15) as usize];
            remainder = (remainder >> 4) ^ TABLE[(remainder & 15) as usize];
        }
        self.0 = remainder;
    }

    /// The checksum of all bytes taken.
    pub const fn finalize(self) -> u32 {
        !self.0
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_catalogue_s_check_value() {
        assert_eq!(Crc32.checksum(b"123456789"), 0xCBF4_3926);
        assert_eq!(Crc32.checksum(b""), 0);
    }

    #[test]
    fn equals_the_oracle_in_any_pieces() {
        let oracle = crc::Crc::<u32>::new(&crc::CRC_32_ISO_HDLC);
        let bytes: Vec<u8> = (0..1000u32).map(|index| ((index * index) >> 3) as u8).collect();
        for end in [0, 1, 2, 255, 256, 257, 1000] {
            for cut in [0, end / 3, end] {
                let mut digest = Crc32.digest();
                digest.update(&bytes[..cut]);
                digest.update(&bytes[cut..end]);
                assert_eq!(digest.finalize(), oracle.checksum(&bytes[..end]), "{cut} of {end}");
            }
        }
        for byte in 0..=255 {
            assert_eq!(Crc32.checksum(&[byte]), oracle.checksum(&[byte]));
        }
    }
}
