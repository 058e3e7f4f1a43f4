// Tags of the MP4 family. Our own walk bounds and rebuilds them, as with the other kinds; TagLib turns what is known to be
// small and well formed into text, and knows what each item is called elsewhere.
#include <taglib/mp4file.h>
#include <taglib/mp4tag.h>
#include <taglib/tbytevectorstream.h>

#include <algorithm>
#include <string>
#include <string_view>

#include "audio/mp4_box.h"
#include "audio/taglib_use.h"
#include "base/text.h"

namespace sendworthy::audio {
namespace {

constexpr std::string_view kFreeForm = "----";
constexpr std::size_t kMostRebuilt = 1 << 20;
constexpr std::uint32_t kImplicit = 0, kUtf8 = 1, kUtf16 = 2, kJpeg = 13, kPng = 14, kBmp = 27;

std::string number(std::size_t value) {
  std::string out;
  for (int shift = 24; shift >= 0; shift -= 8) out += static_cast<char>(value >> shift & 0xff);
  return out;
}

std::string box(std::string_view type, std::string_view body) {
  return number(body.size() + 8) + std::string(type) + std::string(body);
}

bool is_text(std::string_view type) {
  constexpr std::string_view kTexts[] = {"aART", "cprt", "desc", "ldes", "soal", "soar", "soaa", "soco", "sonm", "sosn", "tvsh",
                                         "tven", "tvnn", "catg", "keyw", "purl", "egid", "purd", "apID", "xid "};
  return type.starts_with('\xa9') || std::find(std::begin(kTexts), std::end(kTexts), type) != std::end(kTexts);
}

std::string from_utf16(std::string_view bytes) {
  std::string out;
  const auto unit = [&](std::size_t at) {
    return static_cast<std::uint32_t>(static_cast<unsigned char>(bytes[at])) << 8 | static_cast<unsigned char>(bytes[at + 1]);
  };
  for (std::size_t at = 0; at + 2 <= bytes.size(); at += 2) {
    auto code = unit(at);
    if (code >= 0xd800 && code < 0xdc00 && at + 4 <= bytes.size() && unit(at + 2) >> 10 == 0x37) {
      code = 0x10000 + ((code & 0x3ff) << 10 | (unit(at + 2) & 0x3ff));
      at += 2;
    } else if (code >= 0xd800 && code < 0xe000) {
      code = 0xfffd;
    }
    if (code < 0x80) {
      out += static_cast<char>(code);
      continue;
    }
    const int more = code < 0x800 ? 1 : code < 0x10000 ? 2 : 3;
    out += static_cast<char>((more == 1 ? 0xc0 : more == 2 ? 0xe0 : 0xf0) | code >> (6 * more));
    for (int i = more - 1; i >= 0; --i) out += static_cast<char>(0x80 | (code >> (6 * i) & 0x3f));
  }
  return out;
}

class Items {
 public:
  Items(Walk& walk, Mp4Boxes& boxes) : walk_(walk), boxes_(boxes) {}

  void read(const Mp4Box& list) {
    boxes_.in(list.body, list.end, [&](const Mp4Box& item) {
      if (item.type == "covr") return pictures(item);
      if (item.type != kFreeForm && item.type != "trkn" && item.type != "disk" && !is_text(item.type)) return;
      const auto body = rebuilt(item);
      if (!body.empty() && kept_.size() + body.size() + 8 <= kMostRebuilt) kept_ += box(item.type, body);
    });
    if (!kept_.empty()) hand_over();
  }

 private:
  std::string bytes(std::int64_t from, std::int64_t end) {
    const auto copy = copy_range(walk_.window.bytes(), from, end - from, kMaxTextBytes);
    return std::string(text_at(copy.data(), copy.size()));
  }

  std::string rebuilt(const Mp4Box& item) {
    std::string body;
    bool mean = false, name = false, data = false;
    boxes_.in(item.body, item.end, [&](const Mp4Box& part) {
      if (part.length() > kMaxTextBytes || body.size() > static_cast<std::size_t>(kMaxTextBytes)) return;
      if (item.type == kFreeForm && (part.type == "mean" || part.type == "name")) {
        if (part.length() < 4 || (part.type == "mean" ? mean : name)) return;
        (part.type == "mean" ? mean : name) = true;
        body += box(part.type, number(0) + base::clean_utf8(bytes(part.body + 4, part.end)));
      } else if (part.type == "data" && part.length() >= 8) {
        const auto value = data_box(item.type, part);
        data = data || !value.empty();
        body += value;
      }
    });
    const bool whole = data && (item.type != kFreeForm || (mean && name));
    return whole ? body : std::string();
  }

  // A well-known type and a locale, four bytes each, then the value.
  std::string data_box(std::string_view item, const Mp4Box& part) {
    const auto* head = walk_.window.at(part.body, 8);
    const auto type = head == nullptr ? kBmp : be32(head);
    auto value = bytes(part.body + 8, part.end);
    if (item == "trkn" || item == "disk") {
      // Reserved, number, of how many: two bytes each.
      value.resize(8);
      return box("data", number(kImplicit) + number(0) + value);
    }
    if (type == kUtf16) value = from_utf16(value);
    // Some write none of the types; a number in a text's place is left out.
    if (type != kUtf8 && type != kUtf16 && type != kImplicit) return {};
    value = base::clean_utf8(value);
    return value.empty() ? std::string() : box("data", number(kUtf8) + number(0) + value);
  }

  void pictures(const Mp4Box& item) {
    boxes_.in(item.body, item.end, [&](const Mp4Box& part) {
      if (part.type != "data" || part.length() < 8) return;
      const auto* head = walk_.window.at(part.body, 4);
      const auto type = head == nullptr ? kImplicit : be32(head);
      walk_.artwork("MP4", type == kJpeg ? "image/jpeg" : type == kPng ? "image/png" : type == kBmp ? "image/bmp" : "", part.body + 8,
                    part.length() - 8);
    });
  }

  static std::string shown(std::string_view key) {
    if (key.starts_with("----:com.apple.iTunes:")) return std::string(key.substr(22));
    return std::string(key);
  }

  void hand_over() {
    const auto handler = number(0) + number(0) + "mdirappl" + std::string(9, '\0');
    const auto whole = box("ftyp", "M4A " + number(0)) +
                       box("moov", box("udta", box("meta", number(0) + box("hdlr", handler) + box("ilst", kept_))));
    with_taglib([&] {
      TagLib::ByteVector vector(whole.data(), static_cast<unsigned>(whole.size()));
      TagLib::ByteVectorStream stream(vector);
      TagLib::MP4::File file(&stream, false);
      const auto* tag = file.tag();
      if (tag == nullptr) return;
      const auto properties = tag->properties();
      for (const auto& [key, item] : tag->itemMap()) {
        if (key == "trkn" || key == "disk") {
          const auto pair = item.toIntPair();
          walk_.text("MP4", utf8(key), std::to_string(pair.first) + (pair.second > 0 ? "/" + std::to_string(pair.second) : ""));
          continue;
        }
        for (const auto& value : item.toStringList()) walk_.text("MP4", shown(utf8(key)), utf8(value));
      }
      note_properties(walk_, properties, "MP4");
      for (const auto& key : properties.unsupportedData()) {
        const auto name = utf8(key);
        if (!name.starts_with(kFreeForm)) continue;
        for (const auto& value : tag->item(key).toStringList()) walk_.tag(base::clean_utf8(name.substr(name.rfind(':') + 1)), utf8(value), "MP4");
      }
    });
  }

  Walk& walk_;
  Mp4Boxes& boxes_;
  std::string kept_;
};

}  // namespace

void read_mp4_items(Walk& walk, Mp4Boxes& boxes, const Mp4Box& meta) {
  // In QuickTime it has no version and flags in front.
  const auto* head = walk.window.at(meta.body, 8);
  if (head == nullptr) return;
  const auto skip = text_at(head + 4, 4) == "hdlr" ? 0 : 4;
  boxes.in(meta.body + skip, meta.end, [&](const Mp4Box& part) {
    if (part.type == "ilst") Items(walk, boxes).read(part);
  });
}

}  // namespace sendworthy::audio
