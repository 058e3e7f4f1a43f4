// What the container says, as measurements: most come from the chunk walk before a sample was decoded.
#include <algorithm>
#include <cstdio>
#include <string>

#include "base/text.h"
#include "measure/meter.h"

namespace sendworthy::measure {
namespace {

constexpr CatalogEntry kEntries[] = {
    {.id = "container", .title = "Container", .group = Group::format, .unit = Unit::text, .what = "The kind of file.",
     .how = "From the first bytes of the file, not from its name.", .source = "the container's own specification",
     .caveat = "It says nothing about the sound inside: a WAV may have been an MP3 before.",
     .act = "Export to the container asked for; renaming the file does not convert it."},
    {.id = "encoding", .title = "Encoding", .group = Group::format, .unit = Unit::text,
     .what = "How samples are written: PCM, float, or a lossy codec.", .how = "From the format chunk or stream header.",
     .source = "the container's own specification", .caveat = "A lossless file may hold what was lossy before.",
     .act = "Export to the encoding asked for, straight from the session."},
    {.id = "sample_rate", .title = "Sample rate", .group = Group::format, .unit = Unit::hz, .what = "Frames per second.",
     .how = "From the header.", .source = "the container's own specification",
     .caveat = "The header can be wrong: the song is then too fast or too slow.",
     .act = "Export at the session's own rate, or as ordered; convert once, with a good converter."},
    {.id = "bit_depth", .title = "Bit depth", .group = Group::format, .unit = Unit::bits, .better = Better::higher,
     .what = "Bits per sample the header promises.", .how = "Valid bits of the format chunk or stream header.",
     .source = "the container's own specification", .caveat = "A promise only: how many bits carry sound is told by effective_bit_depth. A lossy file has no bit depth.",
     .act = "Export at the depth asked for, straight from the session; a longer word cannot be made from a shorter one."},
    {.id = "bit_rate", .title = "Bit rate", .group = Group::format, .unit = Unit::kbit_s, .decimals = 1,
     .what = "Bits per second of audio.",
     .how = "Audio bytes over duration; of an MPEG stream of constant rate what its frame headers say.", .source = "definition",
     .caveat = "Of a variable stream it is the mean. It says little about the quality: encoders differ.", .act = "Encode again at the bit rate asked for."},
    {.id = "bit_rate_mode", .title = "Bit rate mode", .group = Group::format, .unit = Unit::text,
     .what = "Constant or variable bit rate.", .how = "From the frames of the stream.", .source = "definition",
     .caveat = "Ogg Vorbis and FLAC always count as variable. Not applicable to plain samples.", .act = "Encode again in the mode asked for."},
    {.id = "channels", .title = "Channels", .group = Group::format, .unit = Unit::count, .what = "Number of channels.",
     .how = "From the header.", .source = "the container's own specification", .caveat = "A number only: two channels may hold the same sound (dual_mono), or one of them none (silent_channels).",
     .act = "Export mono or stereo as asked for."},
    {.id = "channel_mask", .title = "Channel mask", .group = Group::format, .unit = Unit::text,
     .what = "Which loudspeaker each channel is for.", .how = "The mask of an extensible WAV header, in hexadecimal.",
     .source = "the WAVE extensible format", .caveat = "Plain headers have none, and a mask that fits may still be wrong: only listening tells.",
     .act = "Set the channel layout in the export."},
    {.id = "frames", .title = "Frames", .group = Group::format, .unit = Unit::count,
     .what = "Length in frames, as decoded to the end.", .how = "Counted while decoding.", .source = "definition",
     .caveat = "Whether that is all there should be is not known here: header_consistency and stream_integrity look for it.", .act = "Set the range of the export."},
    {.id = "duration", .title = "Duration", .group = Group::format, .unit = Unit::seconds, .decimals = 3,
     .what = "Length in seconds.", .how = "Frames over sample rate.", .source = "definition",
     .caveat = "Silence counts: leading_silence and trailing_silence tell how much. Rounded for print, compared exactly.", .act = "Set the range of the export."},
    {.id = "file_size", .title = "File size", .group = Group::format, .unit = Unit::bytes, .what = "How many bytes it takes on disk.",
     .how = "As the file system says.", .source = "definition", .caveat = "It says nothing about the sound.",
     .act = "If it is over the receiver's limit, part the file or export in a smaller format the receiver takes."},
    {.id = "chunks", .title = "Chunks", .group = Group::format, .unit = Unit::list,
     .what = "The parts of the file in order.", .how = "By walking from chunk to chunk through the file.", .source = "the container's own specification",
     .caveat = "Names only, not whether what they hold is right. Not measured beyond 64 chunks.", .act = "Switch broadcast or tag data on or off in the export."},
    {.id = "unusual_chunks", .title = "Unusual chunks", .group = Group::format, .unit = Unit::text,
     .what = "Parts of the file that no known program writes, and padding of more than a mebibyte.",
     .how = "\"none\", or name and size of each: ids beyond the registered ones and those that workstations are known to write; JUNK, PAD and "
            "their kin where they are larger than 1 048 576 bytes.",
     .source = "IBM and Microsoft, Multimedia Programming Interface and Data Specifications 1.0 (1991); the list of ids and the size are ours",
     .caveat = "A chunk may be of use to the program that wrote it. Only WAV and AIFF with their kin.",
     .act = "Export without extra data if the receiver's system refuses the file."},
    {.id = "bext_place", .title = "Place of the broadcast chunk", .group = Group::format, .unit = Unit::text,
     .what = "Whether the bext chunk stands before or behind the sound.",
     .how = "\"none\", \"before the sound\" or \"behind the sound\"; of several chunks the first.",
     .source = "EBU Tech 3285 v2 (2011), which lists bext in front of the format and the samples, from memory",
     .caveat = "RIFF lets chunks stand in any order; receivers that read from the front only do not.",
     .act = "Let the export write the broadcast data; an editor that adds it afterwards hangs it on the end."},
    {.id = "header_consistency", .title = "Header contradictions", .group = Group::format, .unit = Unit::count,
     .better = Better::lower, .what = "Places where the file contradicts itself.",
     .how = "Contradictions met while walking from chunk to chunk through the file, each with its byte offset; and frame counts "
            "that differ between header, chunks and decoder.",
     .source = "the container's own specification; ITU-R BS.2088 for 64-bit sizes",
     .caveat = "Which of the two contradicting places is right is not known. Players often hide it, some by dropping half of the song.",
     .act = "Listen to the whole file, then export or upload it again; do not repair it by hand."},
    {.id = "stream_integrity", .title = "Damage in the stream", .group = Group::format, .unit = Unit::count,
     .better = Better::lower, .what = "Damage met while decoding.",
     .how = "Decoder errors, wrong or missing checksums, missing end marks, data that ends early.",
     .source = "the codec's own specification", .caveat = "Plain PCM has no checksum: its length can be checked, but not whether samples were changed on the way.",
     .act = "Copy it again from where it was made; if it is damaged there too, export or encode anew."},
    {.id = "header_slips", .title = "Harmless header slips", .group = Group::format, .unit = Unit::count,
     .better = Better::lower, .what = "Those of the header contradictions by which nothing is lost.",
     .how = "All samples are there, and one of these is amiss: the size of the whole file, or of the samples at its end, was "
            "never filled in or is wrong; a chunk lacks its pad byte, or that byte is not 0; the valid bits or the speaker mask "
            "of a WAV do not fit the bits or the channels.",
     .source = "common practice, no source", .caveat = "Which programs refuse such a file, or read it in another way, is not known.",
     .act = "Write to a file, not into a pipe, and export again if the receiver complains."},
    {.id = "stream_unproven", .title = "Stream without proof", .group = Group::format, .unit = Unit::count,
     .better = Better::lower, .what = "Checks of the stream as a whole that are left out or do not agree, though every part of it decodes.",
     .how = "FLAC without an MD5 of its samples or with another one than theirs, Ogg without the mark of its last page, MPEG layer III without "
            "an info frame. They count as damage in the stream too.",
     .source = "RFC 9639 (FLAC, 2024); common practice, no source", .caveat = "The sound may be perfect, or lack its end.",
     .act = "Encode to a file, not into a pipe, with the encoder's own checks on."},
    {.id = "extension_matches", .title = "Name fits the content", .group = Group::format, .unit = Unit::boolean,
     .what = "Whether the file's ending says what the file is.", .how = "Ending against the first bytes.",
     .source = "common practice, no source", .caveat = "A name without an ending, or with one nobody knows, is not judged.",
     .act = "Do not rename: export again in the format wanted."},
    {.id = "trailing_bytes", .title = "Bytes after the end", .group = Group::format, .unit = Unit::bytes,
     .better = Better::lower, .what = "Bytes that the header does not account for.",
     .how = "After the last chunk, less one byte of padding.", .source = "the container's own specification",
     .caveat = "What the bytes are is not known: a tag of an old kind, rubbish, or sound that the header hides.", .act = "Compare the length with the session's, then export again without tags at the end."},
    {.id = "embedded_artwork_bytes", .title = "Pictures inside", .group = Group::format, .unit = Unit::bytes,
     .better = Better::lower, .what = "Bytes of pictures in the file.", .how = "Sizes of picture frames in its tags.",
     .source = "ID3v2, FLAC picture block", .caveat = "The size only: cover_art tells what kind of picture it is. Some ingest systems refuse pictures in WAV.",
     .act = "Send the cover as a file of its own."},
};

class FormatMeter final : public Meter {
 public:
  explicit FormatMeter(const Setup& setup) : format_(setup.format), facts_(setup.facts) {}
  [[nodiscard]] bool wants_blocks() const override { return false; }
  void process(const Block&) override {}

  void report(const Bus& bus, Report& report) override {
    report.value("container", facts_.container).note = facts_.container_note;
    report.value("encoding", facts_.encoding).note = facts_.decoder.empty() ? "" : "decoded by " + facts_.decoder;
    report.value("sample_rate", static_cast<double>(format_.sample_rate));
    report.value("channels", static_cast<double>(format_.channels)).note = format_.layout;
    length(bus, report);
    report.value("file_size", static_cast<double>(facts_.file_size));
    if (facts_.bit_depth) {
      report.value("bit_depth", static_cast<double>(*facts_.bit_depth));
    } else {
      report.not_applicable("bit_depth", "a lossy file has no bit depth");
    }
    if (facts_.bit_rate_kbit_s) {
      report.value("bit_rate", *facts_.bit_rate_kbit_s);
    } else {
      report.not_applicable("bit_rate", "the stream does not tell");
    }
    if (facts_.bit_rate_mode.empty()) {
      report.not_applicable("bit_rate_mode", "plain samples are not encoded at a bit rate");
    } else {
      report.value("bit_rate_mode", facts_.bit_rate_mode);
    }
    if (facts_.channel_mask) {
      char text[16];
      std::snprintf(text, sizeof text, "0x%X", static_cast<unsigned>(*facts_.channel_mask));
      report.value("channel_mask", std::string(text));
    } else {
      report.not_applicable("channel_mask", "the header has no channel mask");
    }
    if (facts_.chunks.empty()) {
      report.not_applicable("chunks", "this container has no chunks");
    } else if (facts_.chunks_total > static_cast<std::int64_t>(facts_.chunks.size())) {
      // A list that was cut off must not prove that something is absent.
      report.not_measured("chunks", std::to_string(facts_.chunks_total) + " chunks, more than are listed");
    } else {
      std::string list;
      for (const auto& chunk : facts_.chunks) {
        // Padding of a four-character code is no part of its name.
        auto name = chunk;
        while (!name.empty() && name.back() == ' ') name.pop_back();
        list += (list.empty() ? "" : ", ") + name;
      }
      report.value("chunks", list);
    }
    unusual(report);
    if (!family_of_riff()) {
      report.not_applicable("bext_place", "only WAV and its kin have a broadcast chunk");
    } else {
      const auto first = facts_.bext_first;
      report.value("bext_place", std::string(!first ? "none" : *first ? "before the sound" : "behind the sound"));
    }
    consistency(bus, report);
    if (facts_.not_decoded.empty()) {
      damages(report.value("stream_integrity", static_cast<double>(bus.damage.size())), bus.damage);
      slips(report, "stream_unproven", bus.damage);
    } else {
      report.not_measured("stream_integrity", facts_.not_decoded);
      report.not_measured("stream_unproven", facts_.not_decoded);
    }
    report.value("extension_matches", facts_.extension_matches).note = facts_.extension_note;
    report.value("trailing_bytes", static_cast<double>(facts_.trailing_bytes));
    report.value("embedded_artwork_bytes", static_cast<double>(facts_.embedded_artwork_bytes));
  }

 private:
  void length(const Bus& bus, Report& report) {
    if (facts_.not_decoded.empty()) {
      report.value("frames", static_cast<double>(bus.frames));
      report.value("duration", bus.duration_s);
      return;
    }
    auto reason = facts_.not_decoded;
    if (facts_.declared_frames)
      reason = "the header says " + std::to_string(*facts_.declared_frames) + " frames, and none could be decoded: " + reason;
    report.not_measured("frames", reason);
    report.not_measured("duration", reason);
  }

  [[nodiscard]] bool family_of_riff() const {
    const auto& c = facts_.container;
    return c == "WAV" || c == "RIFX" || c == "RF64" || c == "BW64";
  }

  void unusual(Report& report) {
    if (!family_of_riff() && !facts_.container.starts_with("AIFF")) {
      report.not_applicable("unusual_chunks", "only WAV, AIFF and their kin have chunks of that sort");
      return;
    }
    std::string list;
    std::size_t shown = 0;
    for (; shown < std::min(kMaxWhere, facts_.unusual_chunks.size()); ++shown) list += (list.empty() ? "" : ", ") + facts_.unusual_chunks[shown];
    auto& m = report.value("unusual_chunks", list.empty() ? std::string("none") : list);
    if (facts_.unusual_chunks_total > static_cast<std::int64_t>(shown)) m.note = std::to_string(facts_.unusual_chunks_total) + " in all";
  }

  void consistency(const Bus& bus, Report& report) {
    auto list = facts_.contradictions;
    const bool said = std::any_of(list.begin(), list.end(), [](const audio::Damage& damage) {
      return damage.text.find(" frames") != std::string::npos;
    });
    if (facts_.not_decoded.empty() && !format_.lossy && facts_.declared_frames && *facts_.declared_frames != bus.frames && !said)
      list.push_back({"the header says " + std::to_string(*facts_.declared_frames) + " frames, " +
                      std::to_string(bus.frames) + " were decoded"});
    damages(report.value("header_consistency", static_cast<double>(list.size())), list);
    slips(report, "header_slips", list);
  }

  void slips(Report& report, std::string_view id, std::vector<audio::Damage> list) {
    std::erase_if(list, [](const audio::Damage& damage) { return !damage.slip; });
    damages(report.value(id, static_cast<double>(list.size())), list);
  }

  void damages(Measurement& m, const std::vector<audio::Damage>& list) {
    for (const auto& damage : list) {
      if (m.where.size() == kMaxWhere) break;
      const auto frame = std::max<std::int64_t>(0, damage.frame);
      std::string note = damage.text;
      if (damage.byte_offset >= 0) note = "byte " + std::to_string(damage.byte_offset) + ": " + note;
      m.where.push_back(place(frame, frame, format_.sample_rate, 0, note));
    }
    m.where_total = static_cast<std::int64_t>(list.size());
    if (!list.empty()) m.note = m.where.front().note;
  }

  const audio::StreamFormat format_;
  const audio::FileFacts& facts_;
};

std::unique_ptr<Meter> create(const Setup& setup) { return std::make_unique<FormatMeter>(setup); }

}  // namespace

extern const MeterModule kFormatModule{kEntries, create, false};

}  // namespace sendworthy::measure
