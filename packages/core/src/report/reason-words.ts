/** What the stable words of {@link LeftOut} mean, for those who look at a plate. */
export const REASON_WORDS: Readonly<Record<string, string>> = {
  blurred: 'Softer than the other frames of its pass on the same ground.',
  bumped: 'Far off the smooth path of the others: the telescope or the camera was touched.',
  clouded: 'Much less light than the better frames of its pass: haze or cloud.',
  doubled: 'The same picture as the frame before it, noise included.',
  empty: 'Nothing stands out of its light.',
  'no-body': 'Nothing stands out of its light.',
  'not-registered': 'No ground in common with the other frames could be recognised.',
  'on-the-way': 'The camera was being pointed at the next view.',
  'not-placed': 'The pass could not be placed on the plate.',
  unreadable: 'It cannot be opened, or its samples cannot be decoded truthfully.',
  'cut-short': 'The clip has lost its end; what is left of it was used.',
  'too-large': 'Its header announces more pixels than are read.',
  'odd-size': 'Another size than most frames of its pass.',
  'odd-channels': 'Grey among colour, or colour among grey.',
  'same-file': 'A copy of another file, byte by byte.',
  'same-pixels': 'The same picture as another file.',
  hidden: 'Its name begins with a dot, or it is a resource fork.',
  link: 'A symbolic link that was not followed.',
  ignored: 'The settings say so.',
  'not-listed': 'The settings say that only listed passes count.',
  'no-usable-frame': 'A pass of which no frame is left.',
  'not-an-image': 'Neither a still nor a clip of a kind that is read.',
  'beside-the-passes': 'A still next to folders that hold passes.',
  'calibration-odd-size': 'Calibration frames of another size than those of a pass.',
  'second-guide': 'One picture of the whole disc is used, the first.',
  'nested-folder': 'A folder inside a pass, or too deep.',
  'no-stills': 'A folder without a still or a clip.',
};

/** How a pass was placed, in words. */
export const PLACED_WORDS = {
  overlap: 'its overlaps',
  guide: 'the guide',
  limb: 'its limb, true to a few px only',
} as const;
