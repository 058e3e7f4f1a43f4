// The same tags in every kind of file, written by TagLib: each comes back under the one name that an order uses.
#include <doctest/doctest.h>
#include <taglib/fileref.h>
#include <taglib/tpropertymap.h>

#include <algorithm>
#include <string>
#include <utility>
#include <vector>

#include "audio/file.h"
#include "makers.h"

using namespace sendworthy;

namespace {

const std::vector<std::pair<std::string, std::string>> kTags = {
    {"title", "Paper Moonrise"}, {"artist", "Jos\u00e9 Example"}, {"album", "Tin"},         {"track", "7"},
    {"isrc", "AA6Q72000047"},    {"upc", "036000291452"},        {"albumartist", "Various"}, {"date", "2024"},
};

void write_tags(const std::string& path, const char* upc) {
  const auto utf8 = [](const std::string& text) { return TagLib::String(text, TagLib::String::UTF8); };
  TagLib::PropertyMap map;
  for (const auto& [name, value] : kTags)
    map.replace(name == "track" ? "TRACKNUMBER" : name == "upc" ? TagLib::String(upc) : utf8(name).upper(), TagLib::StringList(utf8(value)));
  TagLib::FileRef file(path.c_str(), false);
  REQUIRE_FALSE(file.isNull());
  static_cast<void>(file.file()->setProperties(map));
  REQUIRE(file.save());
}

std::vector<std::string> values(const audio::FileFacts& facts, std::string_view name) {
  std::vector<std::string> list;
  for (const auto& tag : facts.tags)
    if (tag.name == name) list.push_back(tag.value);
  return list;
}

}  // namespace

TEST_SUITE("audio/tags of all") {
  TEST_CASE("title, artist, album, track, ISRC and UPC have one name in every kind of file") {
    if (!makers::have("ffmpeg")) return;
    const makers::Folder folder;
    for (const std::string kind : {"wav", "aiff", "flac", "mp3", "m4a", "ogg", "opus"}) {
      for (const char* upc : {"BARCODE", "UPC"}) {
        CAPTURE(kind);
        CAPTURE(upc);
        const auto path = folder.file("x." + kind);
        REQUIRE(makers::run("ffmpeg -y -f lavfi -i sine=d=0.5:r=48000 -map_metadata -1 " + path));
        write_tags(path, upc);
        const auto opened = audio::open_file(path);
        REQUIRE_MESSAGE(opened.has_value(), opened.error().text);
        for (const auto& [name, value] : kTags) {
          const auto& name_here = name;
          CAPTURE(name_here);
          // An MP4 file takes no key of one's own from TagLib.
          if (kind == "m4a" && name == "upc" && std::string(upc) == "UPC") continue;
          const auto found = values(opened->facts, name);
          CHECK_FALSE(found.empty());
          for (const auto& one : found) CHECK(one == value);
        }
      }
    }
  }

  TEST_CASE("the same as ffmpeg writes them") {
    if (!makers::have("ffmpeg")) return;
    const makers::Folder folder;
    const std::string options = "-metadata title='Paper Moonrise' -metadata artist='Jos\u00e9 Example' -metadata album=Tin -metadata track=7 ";
    for (const std::string kind : {"wav", "aiff", "flac", "mp3", "m4a", "ogg", "opus", "caf"}) {
      CAPTURE(kind);
      const auto path = folder.file("x." + kind);
      REQUIRE(makers::run("ffmpeg -y -f lavfi -i sine=d=0.5:r=48000 -map_metadata -1 " + options + "-metadata ISRC=AA6Q72000047 -metadata UPC=036000291452 " +
                          std::string(kind == "aiff" ? "-write_id3v2 1 " : "") + path));
      const auto opened = audio::open_file(path);
      REQUIRE_MESSAGE(opened.has_value(), opened.error().text);
      // RIFF INFO has no code of its own for either, nor does ffmpeg write them into an MP4.
      const bool codes = kind != "wav" && kind != "m4a";
      for (const auto& [name, value] : kTags) {
        if (name == "albumartist" || name == "date" || (!codes && (name == "isrc" || name == "upc"))) continue;
        const auto& name_here = name;
        CAPTURE(name_here);
        const auto found = values(opened->facts, name);
        CHECK(std::find(found.begin(), found.end(), value) != found.end());
      }
    }
  }

  TEST_CASE("an ISRC stands in a broadcast file's XML as its book says") {
    using makers::chunk;
    const auto bytes = makers::riff(chunk("fmt ", makers::format_body({})) +
                                    chunk("axml", "<ebucore><dc:identifier>ISRC:AA6Q72000047</dc:identifier></ebucore>") +
                                    chunk("data", makers::tone(100, 2, 2)));
    const auto opened = audio::open_bytes(makers::kept(bytes), "x.wav");
    REQUIRE(opened.has_value());
    CHECK(values(opened->facts, "isrc") == std::vector<std::string>{"AA6Q72000047"});
  }
}
