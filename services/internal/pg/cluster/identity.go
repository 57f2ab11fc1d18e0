package cluster

import (
	"fmt"
	"os"
	"os/user"
	"path/filepath"
	"strconv"
	"syscall"

	"cullet/services/errs"
)

// identity is the user as whom PostgreSQL runs, because it refuses to run as root.
type identity struct {
	name       string
	uid, gid   uint32
	isSomebody bool // false: we are not root and stay who we are
}

// chooseIdentity stays with the owner of existing data, so that a user "postgres" who appears
// later does not lock us out; else it takes postgres, then nobody.
func chooseIdentity(data string) identity {
	if os.Geteuid() != 0 {
		return identity{uid: uint32(os.Geteuid()), gid: uint32(os.Getegid())}
	}
	if info, err := os.Stat(data); err == nil {
		if stat, ok := info.Sys().(*syscall.Stat_t); ok && stat.Uid != 0 {
			return identity{name: userName(stat.Uid), uid: stat.Uid, gid: stat.Gid, isSomebody: true}
		}
	}
	for _, name := range []string{"postgres", "nobody"} {
		if id, ok := lookup(name); ok {
			return id
		}
	}
	return identity{name: "65534", uid: 65534, gid: 65534, isSomebody: true}
}

func lookup(name string) (identity, bool) {
	found, err := user.Lookup(name)
	if err != nil {
		return identity{}, false
	}
	uid, err := strconv.ParseUint(found.Uid, 10, 32)
	if err != nil || uid == 0 {
		return identity{}, false
	}
	gid, err := strconv.ParseUint(found.Gid, 10, 32)
	if err != nil {
		return identity{}, false
	}
	return identity{name: name, uid: uint32(uid), gid: uint32(gid), isSomebody: true}, true
}

func userName(uid uint32) string {
	id := strconv.FormatUint(uint64(uid), 10)
	if found, err := user.LookupId(id); err == nil {
		return found.Username
	}
	return id
}

// attributes make a child process run as the identity, in a process group of its own so that
// Ctrl-C in the terminal reaches only us.
func (id identity) attributes() *syscall.SysProcAttr {
	attributes := &syscall.SysProcAttr{Setpgid: true}
	if id.isSomebody {
		attributes.Credential = &syscall.Credential{Uid: id.uid, Gid: id.gid, Groups: []uint32{}}
	}
	return attributes
}

// own gives a file or folder to the identity.
func (id identity) own(path string) error {
	if !id.isSomebody {
		return nil
	}
	return os.Lchown(path, int(id.uid), int(id.gid))
}

// checkEnter refuses a folder that the identity cannot reach, naming the parent that bars it.
func (id identity) checkEnter(folder string) error {
	if !id.isSomebody {
		return nil
	}
	for at := folder; ; at = filepath.Dir(at) {
		info, err := os.Stat(at)
		if err != nil {
			return fmt.Errorf("look at folder %s: %w", at, err)
		}
		if !id.mayEnter(info) {
			return errs.Newf(errs.Invalid, ReasonFolder, "folder %s cannot be entered by user %s, as whom "+
				"PostgreSQL runs when root starts it: choose a state folder that everybody may enter, "+
				"for example /var/lib/cullet", at, id.name)
		}
		if at == filepath.Dir(at) {
			return nil
		}
	}
}

func (id identity) mayEnter(info os.FileInfo) bool {
	stat, ok := info.Sys().(*syscall.Stat_t)
	if !ok {
		return true
	}
	switch mode := info.Mode().Perm(); {
	case stat.Uid == id.uid:
		return mode&0o100 != 0
	case stat.Gid == id.gid:
		return mode&0o010 != 0
	default:
		return mode&0o001 != 0
	}
}
