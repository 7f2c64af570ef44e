//! Contacts ashore: `[[contact]]`, for the quick card.

use crate::each;
use form::{Key, Name, Nested, Table, key};

const CONTACT: Key<Nested> = key("contact", "somebody ashore to call, for the quick card").most(16);
const NAME: Key<Name> = key("name", "who").needed().example("the rescue centre of these waters").most(60);
const BY: Key<Name> =
    key("by", "how to reach them: a telephone number, a channel").needed().example("channel 16").most(60);

/// Somebody ashore.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Contact {
    /// Who.
    pub name: String,
    /// How to reach them, as the skipper wrote it.
    pub by: String,
}

pub(crate) fn contacts(t: &mut Table<'_>) -> Option<Vec<Contact>> {
    each(t, &CONTACT, |mut t| {
        let (name, by) = (t.take(&NAME), t.take(&BY));
        Some(Contact { name: name?.0, by: by?.0 })
    })
}

#[cfg(test)]
mod tests {
    use crate::read;

    #[test]
    fn a_contact_has_a_name_and_a_way() {
        let (boat, _) =
            read("boat.toml", "version = 1\n[[contact]]\nname = \"Orrin\"\nby = \"+00 1 234\"\n").unwrap();
        assert_eq!((boat.contacts[0].name.as_str(), boat.contacts[0].by.as_str()), ("Orrin", "+00 1 234"));
        let told = read("boat.toml", "version = 1\n[[contact]]\nname = \"Orrin\"\n").unwrap_err().to_string();
        assert!(told.contains("`by`"), "{told}");
    }
}
