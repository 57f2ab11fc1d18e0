package photostore

import (
	"errors"
	"fmt"

	"cullet/services/errs"
)

// The faults of a photo. Each says what was given, what is allowed and how to mend it.

func empty() error {
	return errs.New(errs.Invalid, "PHOTO_EMPTY",
		"the photo has no bytes; a JPEG, PNG or WebP file is wanted: check that the file was written"+
			" before it was sent, and send it again")
}

func notAnImage(looks string) error {
	return errs.Newf(errs.Invalid, "PHOTO_NOT_AN_IMAGE",
		"this is no photo: by its first bytes it looks like %s; JPEG, PNG and WebP are taken, whatever"+
			" the file is called: save the picture as JPEG and send that", looks)
}

func heic() error {
	return errs.New(errs.Invalid, "PHOTO_HEIC",
		"the photo is in HEIC, which is not taken; JPEG, PNG and WebP are: in the settings of the phone's"+
			" camera choose the most compatible format (JPEG) for the next photos, and send this one as"+
			" JPEG, which most phones do when a photo is shared by e-mail")
}

func tooLarge() error {
	return errs.Newf(errs.Invalid, "PHOTO_TOO_LARGE",
		"the photo has more than %d MiB (%d bytes), which is the limit: save it as JPEG with a lower"+
			" quality or fewer pixels, 4000 on the longer edge are plenty, and send that", MaxBytes>>20, MaxBytes)
}

func tooManyPixels(width, height int) error {
	return errs.Newf(errs.Invalid, "PHOTO_TOO_MANY_PIXELS",
		"the photo claims %d x %d pixels; at most %d million in all are taken: reduce it to 4000 on the"+
			" longer edge and send that", width, height, MaxPixels/1_000_000)
}

func tooHungry(width, height int, need int64) error {
	return errs.Newf(errs.Invalid, "PHOTO_NEEDS_TOO_MUCH_MEMORY",
		"the photo of %d x %d pixels is stored in a way that takes %d MiB of memory to open, at most %d are"+
			" given: save it as a plain JPEG (not progressive, 8 bits a colour) or reduce it to 4000 pixels on"+
			" the longer edge, and send that", width, height, need>>20, int64(decodeBudget)>>20)
}

func tooManyScans(atLeast int) error {
	return errs.Newf(errs.Invalid, "PHOTO_TOO_MANY_SCANS",
		"the photo is a progressive JPEG in %d scans or more; at most %d are taken: save it as a plain JPEG and send that",
		atLeast, maxScans)
}

// broken reports a file that begins like a photo and cannot be read as one.
func broken(format format, size int64, cause error) error {
	return errs.Newf(errs.Invalid, "PHOTO_BROKEN",
		"the file begins as %s, but its %d bytes cannot be read as a picture: it was cut off or damaged on"+
			" the way; open it to see that it is whole, and send it again", format, size).Because(cause)
}

// notWritten reports a folder that takes nothing: the caller may try again, nothing was kept.
func notWritten(cause error) error {
	var known *errs.Error
	if errors.As(cause, &known) {
		return cause
	}
	return errs.New(errs.Unavailable, "PHOTO_STORE_UNAVAILABLE",
		"the photo could not be written; nothing of it was kept, send it again later").
		Because(fmt.Errorf("write to the folder of photos: %w", cause))
}
