//! Each picture of a run is decoded once, however many products start from it and however its backdrop is treated in each.
//!
//! Products that share a picture are made one after the other, so that nobody waits for a picture that another thread is
//! still decoding; what they share stands on a [`Shelf`] between them, and goes with the last of them.

use std::sync::{Mutex, MutexGuard, PoisonError};

use crate::cancel::Cancel;
use crate::fault::Fault;
use crate::intake::Artwork;
use crate::order::ArtInput;

/// Decoded pictures that somebody is still to start from.
pub(super) struct Shelf(Mutex<Vec<Place>>);

struct Place {
    art: ArtInput,
    users_left: usize,
    artwork: Option<Artwork>,
}

impl Shelf {
    /// A shelf for everybody who will take a picture from it, once each.
    pub(super) fn of<'a>(users: impl IntoIterator<Item = &'a ArtInput>) -> Shelf {
        let mut places: Vec<Place> = Vec::new();
        for art in users {
            match places.iter_mut().find(|place| place.art == *art) {
                Some(place) => place.users_left += 1,
                None => places.push(Place { art: art.clone(), users_left: 1, artwork: None }),
            }
        }
        Shelf(Mutex::new(places))
    }

    /// The picture, if it is there; whoever asks has had it.
    pub(super) fn take(&self, art: &ArtInput) -> Option<Artwork> {
        let mut places = self.places();
        let place = places.iter_mut().find(|place| place.art == *art)?;
        place.users_left = place.users_left.saturating_sub(1);
        if place.users_left == 0 { place.artwork.take() } else { place.artwork.clone() }
    }

    /// Keeps a picture if anybody else will ask for it.
    pub(super) fn put(&self, art: &ArtInput, artwork: &Artwork) {
        let mut places = self.places();
        if let Some(place) = places.iter_mut().find(|place| place.users_left > 0 && place.art == *art) {
            place.artwork = Some(artwork.clone());
        }
    }

    /// No picture is decoded while it is held.
    fn places(&self) -> MutexGuard<'_, Vec<Place>> {
        self.0.lock().unwrap_or_else(PoisonError::into_inner)
    }
}

/// Brings together what shares a picture, however indirectly; `pictures` of each, in its order. Returns numbers of what was
/// given.
pub(super) fn sharing(pictures: &[Vec<&ArtInput>], cancel: &Cancel) -> Result<Vec<Vec<usize>>, Fault> {
    let mut batches: Vec<Vec<usize>> = Vec::new();
    for (number, own) in pictures.iter().enumerate() {
        cancel.check()?;
        let mut joined = Vec::new();
        batches.retain_mut(|batch| {
            let shares = batch.iter().any(|other| pictures[*other].iter().any(|art| own.contains(art)));
            if shares {
                joined.append(batch);
            }
            !shares
        });
        joined.push(number);
        batches.push(joined);
    }
    Ok(batches)
}

#[cfg(test)]
mod tests {
    use std::sync::Arc;

    use image::RgbaImage;

    use super::*;
    use crate::intake::Format;

    fn art(byte: u8) -> ArtInput {
        ArtInput::Bytes(Arc::from([byte].as_slice()))
    }

    #[test]
    fn a_picture_stays_until_its_last_user_took_it() {
        let (fox, owl) = (art(1), art(2));
        let shelf = Shelf::of([&fox, &owl, &fox, &fox]);
        let artwork = Artwork::new(Arc::new(RgbaImage::new(1, 1)), Format::Png);
        for art in [&fox, &owl] {
            assert!(shelf.take(art).is_none(), "the first decodes it");
            shelf.put(art, &artwork);
        }
        assert_eq!(Arc::strong_count(&artwork.pixels), 2, "nobody else comes for the owl");
        assert!(shelf.take(&fox).is_some());
        assert!(shelf.take(&fox).is_some());
        assert_eq!(Arc::strong_count(&artwork.pixels), 1, "the last took it along");
    }

    #[test]
    fn what_shares_a_picture_comes_together() {
        let (fox, owl, cat) = (art(1), art(2), art(3));
        let pictures = [vec![&fox], vec![&cat], vec![&owl], vec![&owl, &fox]];
        let mut batches = sharing(&pictures, &Cancel::new()).unwrap();
        batches.sort();
        assert_eq!(batches, [vec![0, 2, 3], vec![1]]);
    }
}
