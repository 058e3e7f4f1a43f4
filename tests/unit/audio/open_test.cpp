// What is handed over by mistake: folders, devices, pipes, sockets, other formats, strange names. And digests.
#include <doctest/doctest.h>
#include <sys/socket.h>
#include <sys/stat.h>
#include <sys/un.h>
#include <unistd.h>

#include <chrono>
#include <cstring>
#include <filesystem>

#include "audio/digest.h"
#include "audio/file.h"
#include "base/os.h"
#include "makers.h"

using namespace sendworthy;
using makers::Folder;

namespace {

Error error_of(const std::string& path) {
  const auto start = std::chrono::steady_clock::now();
  const auto result = audio::open_file(path);
  CHECK(std::chrono::steady_clock::now() - start < std::chrono::seconds(1));
  REQUIRE_FALSE(result.has_value());
  CHECK(result.error().text.find("\"" + path + "\"") != std::string::npos);
  return result.error();
}

bool says(const Error& error, std::string_view words) { return error.text.find(words) != std::string::npos; }

std::string small_wav() { return makers::wav({}, makers::tone(10, 2, 2)); }

}  // namespace

TEST_SUITE("audio/open") {
  TEST_CASE("what is no regular file is refused at once, by its kind") {
    const Folder folder;
    CHECK(error_of(folder.path()).code == ErrorCode::unreadable);
    CHECK(says(error_of(folder.path()), "it is a folder"));
    const auto pipe = folder.file("pipe.wav");
    REQUIRE(::mkfifo(pipe.c_str(), 0600) == 0);
    CHECK(says(error_of(pipe), "it is a pipe"));
    CHECK(says(error_of("/dev/zero"), "it is a device"));
    CHECK(says(error_of("/dev/null"), "it is a device"));
    const auto socket_path = folder.file("s.wav");
    const int descriptor = ::socket(AF_UNIX, SOCK_STREAM, 0);
    sockaddr_un address{};
    address.sun_family = AF_UNIX;
    std::strncpy(address.sun_path, socket_path.c_str(), sizeof address.sun_path - 1);
    REQUIRE(::bind(descriptor, reinterpret_cast<const sockaddr*>(&address), sizeof address) == 0);
    CHECK(says(error_of(socket_path), "socket"));
    ::close(descriptor);
    std::filesystem::create_symlink(folder.file("loop.wav"), folder.file("loop.wav"));
    CHECK(says(error_of(folder.file("loop.wav")), "circle"));
  }

  TEST_CASE("missing and unreadable files are told apart") {
    const Folder folder;
    CHECK(error_of(folder.file("none.wav")).code == ErrorCode::missing);
    CHECK(error_of(folder.file("no/such/folder.wav")).code == ErrorCode::missing);
    CHECK(error_of(folder.file(std::string(300, 'n') + ".wav")).code == ErrorCode::missing);
    CHECK(audio::open_file("").error().code == ErrorCode::missing);
    CHECK(audio::open_file(std::string("a\0b", 3)).error().code == ErrorCode::missing);
    const auto locked = folder.write("locked.wav", small_wav());
    ::chmod(locked.c_str(), 0);
    if (::geteuid() == 0)
      MESSAGE("NOT TESTED: root may read every file");
    else
      CHECK(error_of(locked).code == ErrorCode::unreadable);
  }

  TEST_CASE("other formats are named where that helps") {
    const Folder folder;
    const std::pair<std::string, std::string_view> files[] = {
        {std::string(), "empty (0 bytes)"},
        {std::string("\0\0\0\x20"
                     "ftypM4A ",
                     12),
         "MP4"},
        {"PK\x03\x04rest of it", "ZIP"},
        {"MThd\0\0\0\6", "MIDI"},
        {".snd rest of the header", "AU"},
        {std::string(1000, '\0'), "zeros"},
        {"hello, this is a text file and no sound at all", "not those of an audio file"},
        {std::string("RIFF\x04\0\0\0AVI LIST", 16), "not of type WAVE"},
    };
    for (const auto& [bytes, words] : files) {
      const auto error = error_of(folder.write("x.wav", bytes));
      CHECK(error.code == ErrorCode::unrecognised);
      CHECK_MESSAGE(says(error, words), error.text);
      CHECK(says(error, "export"));
    }
    CHECK(error_of(folder.write("tag.mp3", std::string("ID3\x03\0\0\0\0\0\x10", 10) + std::string(16, '\0'))).code ==
          ErrorCode::no_audio);
  }

  TEST_CASE("names with newlines, invalid UTF-8 and 250 characters are opened like others") {
    const Folder folder;
    for (const std::string& name : {std::string("line\nbreak.wav"), std::string("bad\xff\xfe.wav"),
                                    std::string(246, 'n') + ".wav", std::string("-rf *.wav")}) {
      const auto path = folder.write(name, small_wav());
      const auto opened = audio::open_file(path);
      REQUIRE(opened.has_value());
      CHECK(opened->facts.path == path);
      CHECK(opened->facts.extension_matches);
      CHECK(error_of(folder.write(name, "no sound")).code == ErrorCode::unrecognised);
    }
  }

  TEST_CASE("a file that shrinks while it is read ends the pass with damage, not with a crash") {
    const Folder folder;
    const auto path = folder.write("x.wav", makers::wav({}, makers::tone(100'000, 2, 2)));
    auto opened = audio::open_file(path);
    REQUIRE(opened.has_value());
    std::filesystem::resize_file(path, 44 + 40'000);
    CHECK(makers::decode(*opened->source).frames == 10'000);
    CHECK(makers::mentions(opened->source->damage(), "became shorter"));
  }

  TEST_CASE("a folder's audio files: by extension, sorted by bytes, links to folders not followed") {
    const Folder folder;
    for (const auto* name : {"b.wav", "a.FLAC", "Z.wav", "notes.txt", "._b.wav", ".hidden.wav", "noext", "c.caf"})
      folder.write(name, "x");
    std::filesystem::create_directories(folder.file("sub/deep"));
    folder.write("sub/d.mp3", "x");
    folder.write("sub/deep/e.opus", "x");
    std::filesystem::create_directory_symlink(folder.path(), folder.file("sub/circle"));
    std::filesystem::create_symlink(folder.file("b.wav"), folder.file("link.wav"));
    std::filesystem::create_symlink(folder.file("gone"), folder.file("dangling.wav"));
    const auto at = [&](const std::string& name) { return folder.file(name); };
    const auto here = audio::audio_files_in(folder.path(), audio::Depth::here);
    REQUIRE(here.has_value());
    CHECK(*here == std::vector<std::string>{at(".hidden.wav"), at("Z.wav"), at("a.FLAC"), at("b.wav"), at("c.caf"),
                                            at("link.wav")});
    const auto below = audio::audio_files_in(folder.path() + "/", audio::Depth::below);
    REQUIRE(below.has_value());
    CHECK(below->size() == 8);
    CHECK(below->back() == at("sub/deep/e.opus"));

    const Folder empty;
    CHECK(audio::audio_files_in(empty.path(), audio::Depth::below).error().code == ErrorCode::no_audio);
    CHECK(audio::audio_files_in(empty.file("none"), audio::Depth::here).error().code == ErrorCode::missing);
    CHECK(audio::audio_files_in(at("b.wav"), audio::Depth::here).error().code == ErrorCode::unreadable);
  }

  TEST_CASE("folders nested without end are refused") {
    const Folder folder;
    std::string deep;
    for (int i = 0; i < 70; ++i) deep += "d/";
    std::filesystem::create_directories(folder.file(deep));
    const auto result = audio::audio_files_in(folder.path(), audio::Depth::below);
    REQUIRE_FALSE(result.has_value());
    CHECK(says(result.error(), "nested deeper"));
  }

  TEST_CASE("SHA-256: the messages of FIPS 180-4") {
    const Folder folder;
    const std::pair<std::string, const char*> messages[] = {
        {"", "e3b0c44298fc1c149afbf4c8996fb92427ae41e4649b934ca495991b7852b855"},
        {"abc", "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad"},
        {"abcdbcdecdefdefgefghfghighijhijkijkljklmklmnlmnomnopnopq",
         "248d6a61d20638b8e5c026930c3e6039a33ce45964ff2167f6ecedd419db06c1"},
        {"abcdefghbcdefghicdefghijdefghijkefghijklfghijklmghijklmnhijklmnoijklmnopjklmnopqklmnopqrlmnopqrsmnopqrstnopqr"
         "stu",
         "cf5b16a778af8380036ce59e7b0492370b249b11e8f07a51afac45037afee9d1"},
        {std::string(1'000'000, 'a'), "cdc76e5c9914fb9281a1c7e284d73e67f1809a48a497200e046d39ccc7112cd0"},
    };
    for (const auto& [message, digest] : messages) {
      const auto result = audio::sha256_of_file(folder.write("m", message));
      REQUIRE(result.has_value());
      CHECK(*result == digest);
    }
    CHECK(audio::sha256_of_file(folder.file("none")).error().code == ErrorCode::missing);
    CHECK(audio::sha256_of_file(folder.path()).error().code == ErrorCode::unreadable);
  }

  TEST_CASE("every library behind this folder has a version") {
    for (const auto& [name, version] : audio::audio_library_versions()) {
      const auto& name_here = name;
      CAPTURE(name_here);
      REQUIRE_FALSE(version.empty());
      CHECK(version.find_first_not_of("0123456789.") == std::string::npos);
    }
  }
}
